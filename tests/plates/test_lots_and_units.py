"""A lot of another site is not there; a lot that needs other units than were verified sends the order back."""

from __future__ import annotations

from decimal import Decimal

import pytest

from dosewright.ground.models import Work
from dosewright.ground.pure.errors import Blocked, NotThere
from dosewright.ground.work import run
from prescriptions.queries import order_facts
from prescriptions.queries.facts import standing_alerts
from prescriptions.services import open_alerts, verify_order, verify_shown
from printing.plates import services
from printing.plates.models import PrintBatch
from printing.plates.queries import plan_facts, units_checked, zones_of_line
from tests.batches import Bench, bench, bench_printer, checked_order
from tests.cast import (
    LOT_MG,
    NOW,
    Cast,
    approve_lot,
    demo_substance,
    found_cast,
    lot_with_results,
    pen,
    ready_bench,
)
from tests.orders import verify, work_off

pytestmark = pytest.mark.django_db

DRUG = 3
"""The line of the drug in the demo's recipe."""


def weak_bench(cast: Cast) -> Bench:
    """Set up a bench whose lot holds 2.6 % less drug than its formulation says, as weighed and as assayed."""
    at_bench = ready_bench(cast)
    weak_mg = (LOT_MG[DRUG - 1] * Decimal("0.974")).quantize(Decimal("0.1"))
    assays = {f"assay_{place}": "38.95" for place in ("top", "middle", "bottom")}
    lot = lot_with_results(cast, at_bench, weights={DRUG: weak_mg}, **assays)
    approve_lot(cast, lot)
    return Bench(
        formulation=at_bench.formulation,
        lot=lot,
        printer=bench_printer(cast, tank=at_bench.tank),
        tank=at_bench.tank,
        balance=at_bench.fine,
    )


def plan_of(cast: Cast, one: Bench) -> tuple[str, str]:
    """Ask for a plan and run it; return its code and how it ended."""
    plan = services.request_plan(cast.tomas, resin_lot=one.lot, printer=one.printer, at=NOW)
    row = Work.objects.get(key=f"plan:{plan}")
    run(row.pk, clock=lambda: NOW)
    row.refresh_from_db()
    return plan, row.state


def test_a_lot_of_another_site_is_not_there(cast: Cast) -> None:
    here = bench(cast)
    other = found_cast(name="Other pharmacy", suffix=".other")
    demo_substance(other)
    there = bench(other)
    with pytest.raises(NotThere) as refused:
        services.request_plan(cast.tomas, resin_lot=there.lot, printer=here.printer, at=NOW)
    with pytest.raises(NotThere) as unknown:
        services.request_plan(cast.tomas, resin_lot="RN-AAAAAA", printer=here.printer, at=NOW)
    assert refused.value.refusals[0].message == unknown.value.refusals[0].message
    assert not Work.objects.filter(kind="plan").exists()


def test_other_units_than_were_verified_go_back_once_and_are_then_made(cast: Cast) -> None:
    one = weak_bench(cast)
    # The patient's own limit leaves room for one unit of 6 mg at nominal strength, and not with this lot.
    code = checked_order(cast, "6 mg", "2 mg", "1.75 mg", patient={"largest_unit_mm": "7.2"})
    line = order_facts(code).lines[0].code
    assert units_checked(code, line) == {1}
    _, state = plan_of(cast, one)
    assert state == Work.FAILED
    assert not PrintBatch.objects.exists()
    assert order_facts(code).state == "received"
    assert units_checked(code, line) == {1, 2}
    work_off("fact:order received")
    # The screen has run again at nominal strength, where one unit is enough: the alert stands all the same.
    assert {(one.rule, one.field, one.value) for one in standing_alerts(code)} >= {("units-changed", line, "2")}
    open_alerts(cast.rosa, code, at=NOW)
    with pytest.raises(Blocked) as refused:
        verify_order(cast.rosa, code, pen=pen(verify_shown(cast.rosa, code)), at=NOW)
    assert {one.rule for one in refused.value.refusals} == {"reason-missing"}
    verify(cast, code)
    plan, state = plan_of(cast, one)
    assert state == Work.DONE
    assert plan_facts(cast.tomas, plan).left_out == ()
    assert {zone.units_per_dose for zone in zones_of_line(line)} == {2}


def test_an_order_that_went_back_takes_none_of_its_lines_into_the_plan_of_others(cast: Cast) -> None:
    one = weak_bench(cast)
    back = checked_order(cast, "6 mg", "2 mg", "1.75 mg", patient={"largest_unit_mm": "7.2"})
    good = checked_order(
        cast,
        patient={
            "identifier": {"system": "urn:demo:hospital-number", "value": "D-3001"},
            "family_name": "Ostrander",
            "given_name": "Maribel",
        },
    )
    plan, state = plan_of(cast, one)
    assert state == Work.DONE, Work.objects.get(key=f"plan:{plan}").failure
    assert {one["why"] for one in plan_facts(cast.tomas, plan).left_out} == {
        "the number of units per dose changed",
        "another line of its order went back",
    }
    assert all(zones_of_line(line.code) for line in order_facts(good).lines)
    assert not any(zones_of_line(line.code) for line in order_facts(back).lines)
