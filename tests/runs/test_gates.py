"""Every gate, missing, wrong or no longer true: no start, and the refusal names it."""

from __future__ import annotations

from datetime import timedelta

import pytest

from dosewright.ground.models import AuditEntry
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotAllowed
from prescriptions import services as prescriptions
from prescriptions.queries import order_facts
from printing.plates import services as plates
from printing.plates.queries import batch_facts
from printing.runs import services
from printing.runs.content import GATES
from printing.runs.models import RunStep
from printing.runs.queries import run_facts
from printing.stock import services as stock
from printing.stock.queries import balance_ug
from tests.batches import (
    STATEMENTS,
    as_printer,
    checked_order,
    fill,
    gate_values,
    gates_passed,
    planned,
    printed,
    ready,
    run_to,
    seen_as_planned,
    undone,
)
from tests.cast import NOW
from tests.orders import another_child
from tests.runs.conftest import SHORT_COURSE, Plate

pytestmark = pytest.mark.django_db


def refused_gates(plate: Plate, *, at: object = NOW) -> list[str]:
    """Return the fields that a start names; an empty list means that it started."""
    try:
        services.start_run(plate.cast.tomas, plate.batch, at=at)  # type: ignore[arg-type]
    except Blocked as blocked:
        return [one.field for one in blocked.refusals]
    return []


def test_a_start_without_any_gate_names_them_all(ready_plate: Plate) -> None:
    named = refused_gates(ready_plate)
    assert named == [*GATES, "plate file", "resin"]
    assert batch_facts(ready_plate.batch, site_id=ready_plate.cast.site.pk).state == "ready"
    last = AuditEntry.objects.order_by("pk").last()
    assert last is not None
    assert (last.action, last.outcome) == ("run.start", "refused")


def test_each_gate_alone_keeps_the_run_from_starting(ready_plate: Plate) -> None:
    for gate in GATES:
        with undone():
            gates_passed(ready_plate.cast, ready_plate.batch, without=gate)
            assert refused_gates(ready_plate) == [gate]
    with undone():
        gates_passed(ready_plate.cast, ready_plate.batch)
        assert refused_gates(ready_plate) == []


def test_what_is_not_as_planned_is_refused_at_its_gate(ready_plate: Plate) -> None:
    cast, batch = ready_plate.cast, ready_plate.batch
    fill(cast, batch)
    right = gate_values(cast, batch)
    wrong = {
        "lot": {"value": "RN-AAAAAA"},
        "tank fill": {"value": "TF-AAAAAA"},
        "print profile": {"value": "0" * 64, "statement": right["print profile"]["statement"]},
        "layer count": {"value": str(int(right["layer count"]["value"]) - 1)},
        "line clearance": {"statement": " "},
        "people trained": {"statement": "ok"},
        "amber light": {},
    }
    assert set(wrong) == set(GATES)
    for gate, said in wrong.items():
        with pytest.raises(Blocked) as blocked:
            services.record_gate(cast.tomas, batch, gate=gate, **said, at=NOW)
        assert blocked.value.refusals[0].field == gate
        assert blocked.value.refusals[0].accepted
    assert not RunStep.objects.exists()
    other_name = {"value": right["print profile"]["value"], "statement": "another name"}
    with pytest.raises(Blocked, match="not the print profile"):
        services.record_gate(cast.tomas, batch, gate="print profile", **other_name, at=NOW)


def test_a_scan_in_small_letters_with_blanks_is_taken(ready_plate: Plate) -> None:
    lot = ready_plate.bench.lot
    services.record_gate(ready_plate.cast.tomas, ready_plate.batch, gate="lot", value=f" {lot.lower()} ", at=NOW)
    assert next(one for one in gates(ready_plate) if one.gate == "lot").holds


def gates(plate: Plate):  # type: ignore[no-untyped-def]
    return run_facts(plate.batch, site_id=plate.cast.site.pk, at=NOW).gates


def test_gates_that_held_are_held_to_again_at_the_start(ready_plate: Plate) -> None:
    cast, batch, bench = ready_plate.cast, ready_plate.batch, ready_plate.bench
    gates_passed(cast, batch)
    with undone():
        stock.block_resin_lot(cast.rosa, bench.lot, reason="a particle was seen", at=NOW)
        assert {"lot", "tank fill"} <= set(refused_gates(ready_plate))
    with undone():
        late = NOW + timedelta(hours=7, minutes=50)  # the tank's eight hours end during the run
        assert refused_gates(ready_plate, at=late) == ["tank fill"]
    with undone():
        fill_code = gate_values(cast, batch)["tank fill"]["value"]
        stock.empty_tank(cast.tomas, fill_code, at=NOW)
        assert {"tank fill", "resin"} <= set(refused_gates(ready_plate))
    for kind in ("calibration", "laser check"):
        with undone():
            plates.check_printer(
                cast.tomas, bench.printer, kind=kind, due_on=NOW.date(), result="off", passed=False, at=NOW
            )
            assert refused_gates(ready_plate) == [kind]
        with undone():
            plates.check_printer(
                cast.tomas, bench.printer, kind=kind, due_on=NOW.date(), result="fine", passed=True, at=NOW
            )
            assert refused_gates(ready_plate) == []
    with undone():
        prescriptions.stop_order(cast.mira, ready_plate.order, reason="not needed any more", at=NOW)
        assert refused_gates(ready_plate) == ["orders"]


def test_a_check_due_before_the_run_ends_does_not_count(ready_plate: Plate) -> None:
    cast, bench = ready_plate.cast, ready_plate.bench
    before_midnight = NOW.replace(hour=22, minute=40)  # 23:40 in Berlin: the run ends on the next day
    gates_passed(cast, ready_plate.batch, at=before_midnight)
    plates.check_printer(
        cast.tomas, bench.printer, kind="laser check", due_on=NOW.date(), result="fine", passed=True, at=before_midnight
    )
    assert refused_gates(ready_plate, at=before_midnight) == ["laser check"]


def test_what_the_printer_holds_must_be_what_was_planned(ready_plate: Plate) -> None:
    cast, batch = ready_plate.cast, ready_plate.batch
    gates_passed(cast, batch)
    for name, other in (
        ("file_sha256", "0" * 64), ("layers", 7), ("layer_um", 100), ("profile_sha256", "0" * 64),
    ):  # fmt: skip
        with undone():
            seen_as_planned(cast, batch, **{name: other})
            assert refused_gates(ready_plate) == [name]


def test_a_printer_that_says_the_same_again_adds_nothing(ready_plate: Plate) -> None:
    from printing.runs.models import PrinterSeen

    for _ in range(2):
        seen_as_planned(ready_plate.cast, ready_plate.batch)
    assert PrinterSeen.objects.count() == 1


def test_a_new_alert_at_the_start_stops_it_and_sends_the_order_back(ready_plate: Plate) -> None:
    cast = ready_plate.cast
    gates_passed(cast, ready_plate.batch)
    patient = order_facts(ready_plate.order).patient
    prescriptions.measure_patient(
        cast.rosa, patient, kind="weight", value="99", unit="kg", measured_on=NOW.date(), at=NOW
    )
    named = refused_gates(ready_plate)
    assert "orders" in named
    assert ready_plate.order in named
    assert order_facts(ready_plate.order).state == "received"
    assert batch_facts(ready_plate.batch, site_id=cast.site.pk).state == "ready"


def test_a_start_moves_the_resin_out_of_the_tank(ready_plate: Plate) -> None:
    cast, batch = ready_plate.cast, ready_plate.batch
    gates_passed(cast, batch)
    facts = batch_facts(batch, site_id=cast.site.pk)
    in_tank = gate_values(cast, batch)["tank fill"]["value"]
    before_ug = balance_ug(facts.resin_lot, in_tank)
    services.start_run(cast.tomas, batch, at=NOW)
    used_ul = facts.resin_ul - facts.plate["resin"]["tank_minimum_ul"]
    assert balance_ug(facts.resin_lot, batch) == round(used_ul * 1118)  # 1.118 g/cm3 (invented formulation)
    assert before_ug - balance_ug(facts.resin_lot, in_tank) == balance_ug(facts.resin_lot, batch)


def test_one_batch_runs_on_a_printer_and_its_plate_is_emptied_before_the_next(plate: Plate) -> None:
    cast = plate.cast
    checked_order(cast, regimen=SHORT_COURSE, patient=another_child(3))
    (second,) = planned(cast, plate.bench)
    run_to(cast, plate.batch, "printing")
    ready(cast, second)
    gates_passed(cast, second)
    other = Plate(cast=cast, bench=plate.bench, batch=second, order="")
    assert "printer" in refused_gates(other)
    facts = batch_facts(plate.batch, site_id=cast.site.pk)
    speaker = as_printer(cast, facts.printer)
    services.report_layer(speaker, plate.batch, layer=facts.layers, layers=facts.layers, seconds_left=0, at=NOW)
    services.end_run(speaker, plate.batch, at=NOW)
    named = refused_gates(other)
    assert "printer" in named
    assert set(STATEMENTS) <= set(named), "statements made before the printer ran count no more"


def test_gates_are_for_technicians_and_ready_batches(plate: Plate) -> None:
    cast = plate.cast
    for actor in (cast.rosa, cast.mira, cast.otto, cast.paul):
        with pytest.raises(NotAllowed):
            services.record_gate(actor, plate.batch, gate="amber light", statement="it is on", at=NOW)
        with pytest.raises(NotAllowed):
            services.start_run(actor, plate.batch, at=NOW)
    with pytest.raises(Conflict, match="is planned"):
        services.record_gate(cast.tomas, plate.batch, gate="amber light", statement="it is on", at=NOW)
    with pytest.raises(Conflict, match="cannot start"):
        services.start_run(cast.tomas, plate.batch, at=NOW)
    ready(cast, plate.batch)
    for gate in ("coffee", "tank inspected"):
        with pytest.raises(BadInput, match="no gate"):
            services.record_gate(cast.tomas, plate.batch, gate=gate, statement="it is on", at=NOW)


def test_a_batch_starts_once(ready_plate: Plate) -> None:
    printed(ready_plate.cast, ready_plate.batch)
    with pytest.raises(Conflict, match="cannot start"):
        services.start_run(ready_plate.cast.tomas, ready_plate.batch, at=NOW)
