"""A run by link and by hand: layers, end, fault, and who may say so."""

from __future__ import annotations

from datetime import timedelta

import pytest

from dosewright.ground.models import AuditEntry
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotAllowed, NotThere
from prescriptions.queries import order_facts
from printing.plates.queries import batch_facts
from printing.runs import services
from printing.runs.models import LayerReport
from printing.runs.queries import open_deviations, people_of_batch, printer_job, run_facts
from printing.stock.queries import balance_ug
from tests.batches import (
    as_printer,
    bench_printer,
    gates_passed,
    planned,
    printed,
    ready,
    run_to,
    undone,
    work_off_all,
)
from tests.cast import NOW
from tests.runs.conftest import Plate, small_plate

pytestmark = pytest.mark.django_db


@pytest.fixture
def running(plate: Plate) -> Plate:
    """A batch that is printing on a linked printer."""
    run_to(plate.cast, plate.batch, "printing")
    return plate


def layers_of(plate: Plate) -> int:
    return batch_facts(plate.batch, site_id=plate.cast.site.pk).layers


def state_of(plate: Plate) -> str:
    return batch_facts(plate.batch, site_id=plate.cast.site.pk).state


def test_layers_are_progress_without_an_audit_row(running: Plate) -> None:
    printer = as_printer(running.cast, running.bench.printer)
    before = AuditEntry.objects.count()
    n = layers_of(running)
    for layer in (1, 5, 3):
        services.report_layer(printer, running.batch, layer=layer, layers=n, seconds_left=100 - layer, at=NOW)
    assert AuditEntry.objects.count() == before
    facts = run_facts(running.batch, site_id=running.cast.site.pk, at=NOW)
    assert (facts.layer, facts.layers, facts.seconds_left) == (5, n, 95), "a late report goes back to no earlier layer"
    assert LayerReport.objects.count() == 1


def test_layers_that_cannot_be_are_refused(running: Plate) -> None:
    printer = as_printer(running.cast, running.bench.printer)
    n = layers_of(running)
    for layer, layers, left in ((n + 1, n, 0), (-1, n, 0), (1, n - 1, 0), (1, n, -1)):
        with pytest.raises(BadInput):
            services.report_layer(printer, running.batch, layer=layer, layers=layers, seconds_left=left, at=NOW)


def test_a_run_ends_after_its_last_layer_only(running: Plate) -> None:
    printer = as_printer(running.cast, running.bench.printer)
    n = layers_of(running)
    services.report_layer(printer, running.batch, layer=n - 1, layers=n, seconds_left=8, at=NOW)
    with pytest.raises(Blocked, match="not the last one"):
        services.end_run(printer, running.batch, at=NOW)
    assert state_of(running) == "printing"
    services.report_layer(printer, running.batch, layer=n, layers=n, seconds_left=0, at=NOW)
    services.end_run(printer, running.batch, at=NOW)
    assert state_of(running) == "printed"
    with pytest.raises(Conflict):
        services.report_layer(printer, running.batch, layer=n, layers=n, seconds_left=0, at=NOW)
    with pytest.raises(Conflict):
        services.end_run(printer, running.batch, at=NOW)


def test_a_run_that_outlasts_the_tank_is_a_deviation(running: Plate) -> None:
    printer = as_printer(running.cast, running.bench.printer)
    n, late = layers_of(running), NOW + timedelta(hours=9)
    services.report_layer(printer, running.batch, layer=n, layers=n, seconds_left=0, at=late)
    answer = services.end_run(printer, running.batch, at=late)
    (held,) = open_deviations(site_id=running.cast.site.pk, batch=running.batch)
    assert held.code == answer.deviation
    assert held.kind == "tank life passed during the run"


def test_another_printer_touches_nothing_here(running: Plate) -> None:
    cast = running.cast
    other = as_printer(cast, bench_printer(cast, tank=running.bench.tank, name="Bench two"))
    n = layers_of(running)
    with pytest.raises(NotThere):
        services.report_layer(other, running.batch, layer=n, layers=n, seconds_left=0, at=NOW)
    with pytest.raises(NotThere):
        services.end_run(other, running.batch, at=NOW)
    with pytest.raises(NotThere):
        services.fault_run(other, running.batch, layer=1, kind="power", text="went out", at=NOW)
    with pytest.raises(NotThere):
        services.printer_seen(
            other, running.batch, file_sha256="0" * 64, layers=n, layer_um=50, profile_sha256="0" * 64, at=NOW
        )
    assert printer_job(other).phase == "wait"
    assert LayerReport.objects.get().layer == 0


def test_a_printer_may_do_nothing_that_people_do(running: Plate) -> None:
    printer = as_printer(running.cast, running.bench.printer)
    zone = batch_facts(running.batch, site_id=running.cast.site.pk).zones[0].code
    for attempt in (
        lambda: services.start_run(printer, running.batch, at=NOW),
        lambda: services.record_gate(printer, running.batch, gate="amber light", statement="it is on", at=NOW),
        lambda: services.remove_from_plate(printer, running.batch, counts={}, at=NOW),
        lambda: services.judge_zone(printer, zone, at=NOW),
        lambda: services.close_batch(printer, running.batch, at=NOW),
    ):
        with pytest.raises(NotAllowed):
            attempt()
    with pytest.raises(NotAllowed):
        services.report_layer(running.cast.rosa, running.batch, layer=1, layers=1, seconds_left=0, at=NOW)


def test_the_job_of_a_printer_follows_its_batch(ready_plate: Plate) -> None:
    cast, batch = ready_plate.cast, ready_plate.batch
    printer = as_printer(cast, ready_plate.bench.printer)
    job = printer_job(printer)
    facts = batch_facts(batch, site_id=cast.site.pk)
    assert (job.phase, job.batch, job.file_sha256, job.layers) == ("load", batch, facts.plate_file_sha256, facts.layers)
    gates_passed(cast, batch)
    services.start_run(cast.tomas, batch, at=NOW)
    assert printer_job(printer).phase == "print"
    with pytest.raises(NotThere):
        printer_job(cast.tomas)


def test_by_hand_a_technician_types_what_the_screen_shows(db: None) -> None:
    plate = small_plate(mode="manual")
    run_to(plate.cast, plate.batch, "printing")
    n = layers_of(plate)
    services.report_layer(plate.cast.ada, plate.batch, layer=n, layers=n, seconds_left=0, at=NOW)
    services.end_run(plate.cast.ada, plate.batch, at=NOW)
    assert state_of(plate) == "printed"
    people = people_of_batch(plate.batch)
    assert {plate.cast.tomas.user_id, plate.cast.ada.user_id} == people.makers


def test_a_fault_ends_the_number_destroys_the_units_and_frees_the_lines(running: Plate) -> None:
    cast = running.cast
    printer = as_printer(cast, running.bench.printer)
    answer = services.fault_run(printer, running.batch, layer=12, kind="film or tank", text="a tear", at=NOW)
    facts = batch_facts(running.batch, site_id=cast.site.pk)
    assert facts.state == "faulted"
    assert {unit.state for zone in facts.zones for unit in zone.units} == {"destroyed"}
    assert {line.committed_to for line in order_facts(running.order).lines} == {""}
    assert balance_ug(facts.resin_lot, running.batch) == 0
    (held,) = open_deviations(site_id=cast.site.pk, batch=running.batch)
    assert held.code == answer.deviation
    assert held.concerns == ("tomas.lind",)
    with pytest.raises(Conflict):
        services.fault_run(printer, running.batch, layer=12, kind="power", text="again", at=NOW)
    with pytest.raises(Conflict):
        services.end_run(printer, running.batch, at=NOW)
    with pytest.raises(Conflict):
        services.remove_from_plate(cast.tomas, running.batch, counts={}, at=NOW)


def test_after_a_fault_the_tank_is_inspected_before_it_is_printed_with_again(running: Plate) -> None:
    cast, bench = running.cast, running.bench
    services.fault_run(cast.ada, running.batch, layer=3, kind="film or tank", text="a tear", at=NOW)
    (again,) = planned(cast, bench)
    assert again != running.batch
    ready(cast, again)
    gates_passed(cast, again)
    with pytest.raises(Blocked) as blocked:
        services.start_run(cast.tomas, again, at=NOW)
    assert [one.field for one in blocked.value.refusals] == ["tank inspected"]
    inspect = {"gate": "tank inspected", "statement": "film replaced, no debris left", "at": NOW}
    with pytest.raises(Blocked, match="not this printer's tank"):
        services.record_gate(cast.tomas, again, value="EQ-AAAAA", **inspect)  # type: ignore[arg-type]
    services.record_gate(cast.tomas, again, value=bench.tank, **inspect)  # type: ignore[arg-type]
    services.start_run(cast.tomas, again, at=NOW)
    assert batch_facts(again, site_id=cast.site.pk).state == "printing"


def test_a_fault_says_what_and_where(running: Plate) -> None:
    printer = as_printer(running.cast, running.bench.printer)
    with pytest.raises(BadInput, match="no kind of fault"):
        services.fault_run(printer, running.batch, layer=1, kind="bad luck", text="went out", at=NOW)
    with pytest.raises(BadInput, match="no layer"):
        services.fault_run(printer, running.batch, layer=100_000, kind="power", text="went out", at=NOW)
    assert state_of(running) == "printing"


def test_a_stop_during_the_run_does_not_end_it_but_frees_nothing_either(running: Plate) -> None:
    from prescriptions import services as prescriptions

    prescriptions.stop_order(running.cast.mira, running.order, reason="not needed any more", at=NOW)
    work_off_all("fact:order stopped")
    assert state_of(running) == "printing"
    printed_at = NOW + timedelta(hours=1)
    n = layers_of(running)
    services.report_layer(running.cast.tomas, running.batch, layer=n, layers=n, seconds_left=0, at=printed_at)
    services.end_run(running.cast.tomas, running.batch, at=printed_at)
    assert state_of(running) == "printed"


def test_the_next_thing_is_always_said(plate: Plate) -> None:
    cast, batch = plate.cast, plate.batch
    said = []

    def note() -> None:
        said.append(run_facts(batch, site_id=cast.site.pk, at=NOW).next_thing)

    note()
    ready(cast, batch)
    note()
    with undone():
        gates_passed(cast, batch)
        note()
    printed(cast, batch)
    note()
    assert said == ["approve", "gate: line clearance", "start", "take the rafts off the plate"]
