"""Whatever is done with a plate, in any order: every unit is in exactly one state, and no unit comes or goes."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dosewright.ground.pure.errors import Refused
from printing.plates.models import PlacedUnit
from printing.plates.queries import batch_facts, zone_facts
from printing.plates.states import UNIT
from printing.runs import services
from printing.runs.services import ZoneCount
from printing.stock.queries import balances_ug
from tests.batches import a_balance, as_printer, counts_as_placed, finish_tools, finished, run_to, tenths, undone
from tests.cast import NOW
from tests.runs.conftest import Plate

pytestmark = pytest.mark.django_db

STATES = {state for state, _ in UNIT} | set(UNIT.values())


class Player:
    """Does one thing after another with a running batch, by chance right or wrong."""

    def __init__(self, plate: Plate, tools: dict[str, str], balance: str, draw: Callable[[int], int]) -> None:
        self.plate, self.tools, self.balance, self.draw = plate, tools, balance, draw
        self.cast, self.batch, self.now = plate.cast, plate.batch, NOW
        self.weighed = 0

    def moves(self) -> list[Callable[[], object]]:
        often = [self.test_zone] * 4
        return [*often, self.end, self.fault, self.remove, self.finish, self.reject, self.find, self.judge, self.reject]

    def end(self) -> object:
        facts = batch_facts(self.batch, site_id=self.cast.site.pk)
        printer = as_printer(self.cast, facts.printer)
        self.now += timedelta(minutes=10)
        services.report_layer(printer, self.batch, layer=facts.layers, layers=facts.layers, seconds_left=0, at=self.now)
        return services.end_run(printer, self.batch, at=self.now)

    def fault(self) -> object:
        if self.draw(4):
            return None
        return services.fault_run(self.cast.ada, self.batch, layer=3, kind="power", text="went out", at=self.now)

    def remove(self) -> object:
        counts = counts_as_placed(self.cast, self.batch)
        zone = sorted(counts)[self.draw(len(counts))]
        wrong = self.draw(4)
        off = {0: 0, 1: -1, 2: -1, 3: 1}[wrong]
        missing = {1: (1,)}.get(wrong, ())
        not_printed = {2: (2,)}.get(wrong, ())
        counts[zone] = ZoneCount(counted=counts[zone].counted + off, missing=missing, not_printed=not_printed)
        return services.remove_from_plate(self.cast.tomas, self.batch, counts=counts, at=self.now)

    def finish(self) -> object:
        self.now = finished(self.cast, self.batch, self.tools, at=self.now)
        return None

    def test_zone(self) -> object:
        zones = batch_facts(self.batch, site_id=self.cast.site.pk).zones
        zone = zones[self.draw(len(zones)) if self.draw(5) == 0 else min(self.weighed, len(zones) - 1)]
        units = [one for one in zone.units if one.state == "printed"]
        services.break_off(self.cast.ada, zone.code, counted=len(units) + (self.draw(5) == 0), at=self.now)
        masses = [tenths(one.predicted_mass_ug) for one in units]
        services.record_masses(self.cast.ada, zone.code, masses_mg=masses, balance=self.balance, at=self.now)
        self.weighed += 1
        defects = {units[0].number: "major"} if self.draw(3) == 0 else {}
        services.record_appearance(self.cast.ada, zone.code, looked_at=len(units), defects=defects, at=self.now)
        for one in zone_facts(zone.code, site_id=self.cast.site.pk).units if zone.line is None else ():
            said = f"{Decimal(one.predicted_content_ng) / 1_000_000}"
            services.record_content(self.cast.ada, one.code, content_mg=said, method="assay", at=self.now)
        return None

    def a_unit(self) -> str:
        codes = sorted(PlacedUnit.objects.filter(zone__batch__code=self.batch).values_list("code", flat=True))
        return codes[self.draw(len(codes))]

    def reject(self) -> object:
        return services.reject_unit(self.cast.ada, self.a_unit(), reason="for the test", at=self.now)

    def find(self) -> object:
        lost = PlacedUnit.objects.filter(zone__batch__code=self.batch, state="unaccounted").first()
        return lost and services.find_unit(self.cast.ada, lost.code, where="in the drip tray", at=self.now)

    def judge(self) -> object:
        zones = batch_facts(self.batch, site_id=self.cast.site.pk).zones
        services.judge_zone(self.cast.ada, zones[self.draw(len(zones))].code, at=self.now)
        return None


def account(batch: str) -> dict[str, str]:
    return dict(PlacedUnit.objects.filter(zone__batch__code=batch).values_list("code", "state"))


def test_no_unit_and_no_resin_comes_or_goes(plate: Plate) -> None:
    run_to(plate.cast, plate.batch, "printing")
    tools = finish_tools(plate.cast, plate.bench.formulation)
    balance = a_balance(plate.cast)
    units, resin = set(account(plate.batch)), sum(balances_ug(plate.bench.lot).values())
    reached: set[str] = set()

    @settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
    @given(st.data())
    def play(data: st.DataObject) -> None:
        with undone():
            player = Player(plate, tools, balance, lambda most: data.draw(st.integers(0, most - 1)))
            usual = [player.end, player.remove, player.finish]
            for move in [*usual, *(player.moves()[data.draw(st.integers(0, 11))] for _ in range(8))]:
                before = account(plate.batch)
                with contextlib.suppress(Refused):  # the steps before the refused one stand, none does by half
                    move()
                after = account(plate.batch)
                assert set(after) == units
                assert set(after.values()) <= STATES
                for code, state in after.items():
                    assert before[code] == state or may_become(before[code], state)
                assert sum(balances_ug(plate.bench.lot).values()) == resin
                reached.update(after.values())

    play()
    assert {"printed", "rejected"} <= reached, "the play never got far enough to mean anything"


def may_become(old: str, new: str) -> bool:
    """Say whether the table leads from one state to the other in one step or several."""
    seen, front = {old}, {old}
    while front:
        front = {after for (state, _), after in UNIT.items() if state in front} - seen
        seen |= front
    return new in seen
