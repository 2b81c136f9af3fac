"""Two orders are planned; nothing is planned twice; what may not be planned is refused or left out and told."""

from __future__ import annotations

import json
from datetime import timedelta
from decimal import Decimal

import pytest

from dosewright.ground.models import AuditEntry, Work
from dosewright.ground.pure.errors import Blocked, Conflict, NotAllowed, NotThere
from dosewright.ground.work import run
from prescriptions import services as prescriptions
from prescriptions.queries import order_facts
from printing.core.layout.batching import spares_for
from printing.plates import services
from printing.plates.models import PlacedUnit, PlanRecord, PrintBatch, SizedLine, Zone
from printing.plates.queries import batch_facts, plan_facts, shown_plan, zones_of_line
from printing.plates.sizes import read_size
from printing.stock import services as stock
from tests.batches import DUE, Bench, bench, bench_printer, checked_order, planned, ready, work_off_all
from tests.cast import NOW, Cast
from tests.orders import another_child

pytestmark = pytest.mark.django_db


def two_orders(cast: Cast) -> tuple[str, str]:
    return checked_order(cast), checked_order(cast, "4 mg", "2.5 mg", "1.5 mg", patient=another_child(1))


def failure(plan: str) -> str:
    """Run the work of a plan that is bound to fail and return why it did."""
    row = Work.objects.get(key=f"plan:{plan}")
    assert run(row.pk, clock=lambda: NOW) is False
    row.refresh_from_db()
    assert row.state == Work.FAILED
    return row.failure


def test_two_orders_are_planned_whole_and_no_unit_is_lost(cast: Cast, at_bench: Bench) -> None:
    orders = two_orders(cast)
    batches = planned(cast, at_bench)
    lines = [line for order in orders for line in order_facts(order).lines]
    assert {line.committed_to for line in lines} == {PrintBatch.objects.get(code=batches[0]).plan}
    for line in lines:
        zones = zones_of_line(line.code)
        wanted, spares = sum(one.wanted for one in zones), sum(one.spares for one in zones)
        size = read_size(SizedLine.objects.get(line__code=line.code).text)
        assert wanted == line.administrations * size["units_per_dose"] == 28
        assert spares == spares_for(wanted, Decimal("0.05"), likelihood=Decimal("0.95"))
        units = [unit for one in zones for unit in one.units]
        assert len({unit.code for unit in units}) == wanted + spares
        assert {unit.state for unit in units} == {"planned"}
        assert {Decimal(unit.dose_ng) / 1_000_000 for unit in units} == {line.dose_mg / size["units_per_dose"]}
        assert abs(units[0].predicted_content_ng / units[0].dose_ng - 1) < 0.01


def test_every_plate_carries_the_test_zones_and_its_record_is_what_is_shown(cast: Cast, at_bench: Bench) -> None:
    two_orders(cast)
    batches = planned(cast, at_bench)
    for one in batches:
        facts = batch_facts(one, site_id=cast.site.pk)
        tests = [zone for zone in facts.zones if zone.line is None]
        assert [len(zone.units) for zone in tests] == [2, 2]
        assert facts.state == "planned"
        assert sum(len(zone["units"]) for zone in facts.plate["zones"]) == sum(len(zone.units) for zone in facts.zones)
        assert [zone.removal_order for zone in facts.zones] == list(range(1, len(facts.zones) + 1))
        assert shown_plan(cast.site.pk, one) == {"plates": [facts.plate]}
    assert Zone.objects.count() == sum(len(batch_facts(one, site_id=cast.site.pk).zones) for one in batches)


def test_planning_again_plans_nothing_twice(cast: Cast, at_bench: Bench) -> None:
    two_orders(cast)
    planned(cast, at_bench)
    before = PlacedUnit.objects.count()
    again = services.request_plan(cast.tomas, resin_lot=at_bench.lot, printer=at_bench.printer, at=NOW)
    assert "no verified line waits" in failure(again)
    assert PlacedUnit.objects.count() == before
    assert PlanRecord.objects.count() == 1


def test_two_plans_asked_for_at_once_share_no_line(cast: Cast, at_bench: Bench) -> None:
    two_orders(cast)
    asked = [
        services.request_plan(cast.tomas, resin_lot=at_bench.lot, printer=at_bench.printer, at=NOW) for _ in range(2)
    ]
    work_off_all(f"plan:{asked[0]}", at=NOW)
    run(Work.objects.get(key=f"plan:{asked[0]}").pk, clock=lambda: NOW)
    assert "no verified line waits" in failure(asked[1])
    assert PlanRecord.objects.get().code == asked[0]


def test_an_order_with_a_new_alert_is_left_out_and_told(cast: Cast, at_bench: Bench) -> None:
    good, stale = two_orders(cast)
    plan = services.request_plan(cast.tomas, resin_lot=at_bench.lot, printer=at_bench.printer, at=NOW)
    prescriptions.measure_patient(
        cast.rosa, order_facts(stale).patient, kind="weight", value="99", unit="kg", measured_on=NOW.date(), at=NOW
    )
    run(Work.objects.get(key=f"plan:{plan}").pk, clock=lambda: NOW)
    facts = plan_facts(cast.tomas, plan)
    assert facts.state == Work.DONE, facts.failure
    assert [one["order"] for one in facts.left_out] == [stale]
    assert {zone.order for one in facts.batches for zone in batch_facts(one, site_id=cast.site.pk).zones} == {
        None,
        good,
    }
    assert order_facts(stale).state == "received"


def test_a_blocked_lot_is_refused_when_asked_and_when_made(cast: Cast, at_bench: Bench) -> None:
    two_orders(cast)
    plan = services.request_plan(cast.tomas, resin_lot=at_bench.lot, printer=at_bench.printer, at=NOW)
    stock.block_resin_lot(cast.rosa, at_bench.lot, reason="a particle was seen", at=NOW)
    assert "is blocked" in failure(plan)
    with pytest.raises(Blocked, match="is blocked"):
        services.request_plan(cast.tomas, resin_lot=at_bench.lot, printer=at_bench.printer, at=NOW)
    assert not PrintBatch.objects.exists()


def test_an_expired_lot_is_refused(cast: Cast, at_bench: Bench) -> None:
    with pytest.raises(Blocked, match="expired on"):
        services.request_plan(cast.tomas, resin_lot=at_bench.lot, printer=at_bench.printer, at=NOW + timedelta(days=40))


def test_a_refused_plan_leaves_an_audit_row(cast: Cast, at_bench: Bench) -> None:
    with pytest.raises(NotThere):
        services.request_plan(cast.tomas, resin_lot="RN-AAAAAA", printer=at_bench.printer, at=NOW)
    last = AuditEntry.objects.order_by("pk").last()
    assert last is not None
    assert (last.action, last.outcome) == ("plan.request", AuditEntry.REFUSED)


def test_more_than_is_left_of_a_lot_is_not_planned(cast: Cast) -> None:
    one = bench(cast, tank_minimum_ul=120_000)
    two_orders(cast)
    elsewhere = stock.register_equipment(
        cast.paul,
        kind="tank",
        name="tank 2",
        due_on=DUE,
        check="new",
        at=NOW,
        formulation=one.formulation,
        capacity_ml=Decimal(500),
    )
    stock.fill_tank(cast.tomas, tank=elsewhere, resin_lot=one.lot, volume_ml=Decimal(400), at=NOW)
    bench_printer(cast, tank=elsewhere, name="Bench two")
    plan = services.request_plan(cast.tomas, resin_lot=one.lot, printer=one.printer, at=NOW)
    assert "resin" in failure(plan)
    assert not PrintBatch.objects.exists()


def test_what_stands_in_the_printers_own_tank_counts(cast: Cast) -> None:
    one = bench(cast, tank_minimum_ul=40_000)
    two_orders(cast)
    stock.fill_tank(cast.tomas, tank=one.tank, resin_lot=one.lot, volume_ml=Decimal(400), at=NOW)
    assert planned(cast, one)


def test_only_technicians_and_pharmacists_plan(cast: Cast, at_bench: Bench) -> None:
    for actor in (cast.mira, cast.otto, cast.nora, cast.paul):
        with pytest.raises(NotAllowed):
            services.request_plan(actor, resin_lot=at_bench.lot, printer=at_bench.printer, at=NOW)


def test_a_printer_of_another_kind_has_no_profile(cast: Cast, at_bench: Bench) -> None:
    two_orders(cast)
    tank = stock.register_equipment(
        cast.paul,
        kind="tank",
        name="Tank two",
        due_on=DUE,
        check="new",
        formulation=at_bench.formulation,
        capacity_ml=Decimal(100),
        at=NOW,
    )
    spec = services.PrinterSpec(
        name="Other",
        kind="another kind",
        mode="manual",
        plate_um=(100_000, 100_000),
        build_height_um=100_000,
        tank_minimum_ul=1,
        loss_ul=1,
        tank=tank,
    )
    other = services.register_printer(cast.paul, spec=spec, at=NOW)
    plan = services.request_plan(cast.tomas, resin_lot=at_bench.lot, printer=other, at=NOW)
    assert "no print profile is pinned" in failure(plan)


def test_approving_needs_a_planned_batch_of_verified_orders(cast: Cast, at_bench: Bench) -> None:
    order, _ = two_orders(cast)
    (batch,) = planned(cast, at_bench)
    with pytest.raises(NotAllowed):
        services.approve_batch(cast.rosa, batch, at=NOW)
    prescriptions.stop_order(cast.mira, order, reason="the course is over", at=NOW)
    with pytest.raises(Blocked, match="no longer verified"):
        services.approve_batch(cast.tomas, batch, at=NOW)
    assert batch_facts(batch, site_id=cast.site.pk).state == "planned"


@pytest.mark.parametrize("when", ["planned", "ready"])
def test_a_stop_cancels_what_has_not_started_and_frees_the_others(cast: Cast, at_bench: Bench, when: str) -> None:
    stopped, other = two_orders(cast)
    (batch,) = planned(cast, at_bench)
    if when == "ready":
        ready(cast, batch)
    prescriptions.stop_order(cast.mira, stopped, reason="the course is over", at=NOW)
    work_off_all("fact:order stopped")
    facts = batch_facts(batch, site_id=cast.site.pk)
    assert facts.state == "cancelled"
    assert {unit.state for zone in facts.zones for unit in zone.units} == {"not printed"}
    (again,) = planned(cast, at_bench)
    assert batch_facts(again, site_id=cast.site.pk).orders == (other,)


def test_cancelling_frees_the_lines_once_and_ends_the_number(cast: Cast, at_bench: Bench) -> None:
    orders = two_orders(cast)
    (batch,) = planned(cast, at_bench)
    services.cancel_batch(cast.ada, batch, reason="the printer is needed", at=NOW)
    assert {line.committed_to for order in orders for line in order_facts(order).lines} == {""}
    (again,) = planned(cast, at_bench)
    assert again != batch
    kept = json.loads(PrintBatch.objects.get(code=again).plan_text)
    assert kept["batch"] == again
    with pytest.raises(Conflict, match="cannot cancel"):
        services.cancel_batch(cast.ada, batch, reason="twice", at=NOW)
