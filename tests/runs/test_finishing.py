"""Finishing in order, with the right equipment, in range; wet units are never cured."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

import pytest

from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotAllowed, NotThere
from printing.plates.queries import batch_facts
from printing.runs import services
from printing.runs.finishing_ranges import departures
from printing.runs.models import RunStep
from printing.runs.queries import open_deviations, run_facts, step_lines
from printing.stock import services as stock
from tests.batches import DUE, READINGS, finish_tools, finished, run_to, undone
from tests.cast import NOW
from tests.runs.conftest import Plate

pytestmark = pytest.mark.django_db
WASH, SECOND, DRY, CURE = 1, 2, 3, 4


class Finishing:
    """A batch in finishing with its tools and a clock that goes on."""

    def __init__(self, plate: Plate) -> None:
        self.plate = plate
        self.tools = finish_tools(plate.cast, plate.bench.formulation)
        self.now: datetime = run_to(plate.cast, plate.batch, "finishing")

    def start(self, number: int, tool: str | None = None) -> None:
        kind = {WASH: "wash", SECOND: "wash", DRY: "dry", CURE: "cure"}[number]
        services.start_finish_step(
            self.plate.cast.ada, self.plate.batch, number=number, equipment=tool or self.tools[kind], at=self.now
        )

    def end(self, number: int, *, after_s: int, **readings: Decimal) -> tuple[str, ...]:
        self.now += timedelta(seconds=after_s)
        given = readings or self.usual(number)
        return services.end_finish_step(
            self.plate.cast.ada, self.plate.batch, number=number, readings=given, at=self.now
        ).deviations

    @staticmethod
    def usual(number: int) -> dict[str, Decimal]:
        name = "strength_percent" if number in {WASH, SECOND} else "temperature_c"
        return {name: READINGS[name]}


@pytest.fixture
def finishing(plate: Plate) -> Finishing:
    """A batch whose rafts are off the plate."""
    return Finishing(plate)


def test_steps_keep_their_order(finishing: Finishing) -> None:
    for number in (SECOND, DRY, CURE):
        with pytest.raises(Blocked, match=r"comes after step 1|wet units"):
            finishing.start(number)
    finishing.start(WASH)
    with pytest.raises(Blocked, match="has not ended"):
        finishing.start(SECOND)
    with pytest.raises(Conflict, match="started before"):
        finishing.start(WASH)
    with pytest.raises(Conflict, match="not under way"):
        finishing.end(SECOND, after_s=0)
    with pytest.raises(BadInput, match="no finishing step"):
        services.start_finish_step(
            finishing.plate.cast.ada, finishing.plate.batch, number=9, equipment=finishing.tools["wash"], at=NOW
        )


def test_wet_units_are_never_cured(finishing: Finishing) -> None:
    for number in (WASH, SECOND):
        finishing.start(number)
        finishing.end(number, after_s=200)
    with pytest.raises(Blocked, match="wet units are never cured"):
        finishing.start(CURE)
    finishing.start(DRY)
    with pytest.raises(Blocked, match="this dry is not over"):
        finishing.end(DRY, after_s=1799)
    with pytest.raises(Blocked, match="wet units are never cured"):
        finishing.start(CURE)
    finishing.end(DRY, after_s=1)
    finishing.start(CURE)
    kinds = RunStep.objects.filter(batch__code=finishing.plate.batch, finish_step__isnull=False)
    assert [one.kind for one in kinds.order_by("pk")][-2:] == ["step end", "step start"]


def test_a_wash_under_at_and_over_its_range(finishing: Finishing) -> None:
    site_id, batch = finishing.plate.cast.site.pk, finishing.plate.batch
    finishing.start(WASH)
    began = finishing.now
    cases = ((180, []), (300, []), (179, ["resin may be left"]), (301, ["drug may be lost"]))
    for after_s, effects in cases:
        finishing.now = began
        with undone():
            opened = finishing.end(WASH, after_s=after_s)
            held = open_deviations(site_id=site_id, batch=batch)
            assert [one.code for one in held] == list(opened)
            assert [one.effect[: len(effect)] for one, effect in zip(held, effects, strict=True)] == effects
            assert all(one.concerns == ("ada.brandt",) for one in held)
            assert run_facts(batch, site_id=site_id, at=NOW).steps[0].in_range is (not effects)
            line = next(one for one in step_lines(batch, site_id=site_id) if "1: wash" in one.what)
            assert line.verdict == ("outside" if effects else "within")


def test_readings_are_asked_for_and_held_to(finishing: Finishing) -> None:
    finishing.start(WASH)
    with pytest.raises(BadInput, match="needs the reading"):
        services.end_finish_step(
            finishing.plate.cast.ada, finishing.plate.batch, number=WASH, at=finishing.now + timedelta(seconds=200)
        )
    with pytest.raises(BadInput, match="does not ask"):
        finishing.end(WASH, after_s=200, strength_percent=Decimal(97), temperature_c=Decimal(20))
    opened = finishing.end(WASH, after_s=0, strength_percent=Decimal("89.9"))
    assert len(opened) == 1
    assert (
        "strength_percent 89.9"
        in open_deviations(site_id=finishing.plate.cast.site.pk, batch=finishing.plate.batch)[0].text
    )


def test_equipment_is_of_its_kind_its_formulation_and_in_date(finishing: Finishing) -> None:
    cast = finishing.plate.cast
    with pytest.raises(Blocked, match="is a oven"):
        finishing.start(WASH, tool=finishing.tools["dry"])
    with pytest.raises(NotThere):
        finishing.start(WASH, tool="EQ-AAAAA")
    with undone():
        stock.check_equipment(cast.paul, finishing.tools["wash"], due_on=DUE, passed=False, result="cracked", at=NOW)
        with pytest.raises(Blocked, match="failed its last check"):
            finishing.start(WASH)
    from printing.stock.models import Equipment

    Equipment.objects.filter(code=finishing.tools["wash"]).update(formulation_code="FM-AAAAA")
    with pytest.raises(Blocked, match="dedicated to"):
        finishing.start(WASH)


def test_finishing_ends_when_every_step_has(finishing: Finishing) -> None:
    plate = finishing.plate
    with pytest.raises(Blocked) as blocked:
        services.finish_batch(plate.cast.ada, plate.batch, at=NOW)
    assert [one.field for one in blocked.value.refusals] == ["step 1", "step 2", "step 3", "step 4"]
    finished(plate.cast, plate.batch, finishing.tools, at=finishing.now)
    assert batch_facts(plate.batch, site_id=plate.cast.site.pk).state == "testing"
    with pytest.raises(Conflict):
        finishing.start(WASH)


def test_finishing_is_for_technicians_and_batches_off_the_plate(plate: Plate) -> None:
    tools = finish_tools(plate.cast, plate.bench.formulation)
    with pytest.raises(Conflict, match="is planned"):
        services.start_finish_step(plate.cast.ada, plate.batch, number=1, equipment=tools["wash"], at=NOW)
    with pytest.raises(NotAllowed):
        services.start_finish_step(plate.cast.rosa, plate.batch, number=1, equipment=tools["wash"], at=NOW)


def test_departures_at_both_ends_of_a_range() -> None:
    conditions = {"temperature_least_c": 35, "temperature_most_c": 45}

    def count(seconds: int, reading: str) -> int:
        return len(
            departures(
                kind="dry",
                seconds=seconds,
                least_s=10,
                most_s=20,
                conditions=conditions,
                readings={"temperature_c": Decimal(reading)},
            )
        )

    assert [count(seconds, "40") for seconds in (10, 20, 21)] == [0, 0, 1]
    assert [count(15, reading) for reading in ("35", "45", "34.9", "45.1")] == [0, 0, 1, 1]
    with pytest.raises(BadInput, match="no reading"):
        count(15, "NaN")
