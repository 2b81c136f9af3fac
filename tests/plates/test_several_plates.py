"""Several plates in one plan: on all printers, from several lots, split lines, and only what a line lacks again."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import ClassVar

import pytest
from django.test import TestCase

from dosewright.ground.models import Work
from dosewright.ground.pure.codes import kind_of
from dosewright.ground.pure.errors import BadInput, Conflict, NotAllowed, NotThere
from dosewright.ground.work import run
from prescriptions.queries import line_facts, order_facts
from printing.core.layout.batching import spares_for
from printing.plates import services
from printing.plates.models import PlacedUnit, PlanRecord, PrintBatch, Printer, Zone
from printing.plates.queries import (
    BatchFacts,
    batch_facts,
    codes_on_record,
    parts_to_reprint,
    plan_facts,
    printer_facts,
    promised_ul,
    shown_plan,
    zones_of_line,
)
from printing.plates.services.codes import fresh_codes
from printing.stock import services as stock
from printing.stock.queries import resin_lot_facts
from tests.batches import DUE, Bench, bench, bench_printer, checked_order, ready, work_off_all
from tests.cast import NOW, Cast, approved_resin_lot, demo_substance, found_cast, ready_bench
from tests.orders import another_child

pytestmark = pytest.mark.django_db

MIDDLE = (90_000, 90_000)
SMALL = (62_000, 62_000)
"""A plate that holds no line of 28 tablets whole."""


def a_tank(cast: Cast, formulation: str, name: str) -> str:
    """Register a tank and return its code."""
    return stock.register_equipment(
        cast.paul,
        kind="tank",
        name=name,
        due_on=DUE,
        check="new",
        formulation=formulation,
        capacity_ml=Decimal(500),
        at=NOW,
    )


def planned_all(cast: Cast, *, at: datetime = NOW) -> tuple[BatchFacts, ...]:
    """Plan everything that waits, on every printer; return the batches in the order of the plan."""
    plan = services.request_plan(cast.tomas, at=at)
    work_off_all("plan", at=at)
    facts = plan_facts(cast.tomas, plan)
    return tuple(batch_facts(code, site_id=cast.site.pk) for code in facts.batches)


class OnSmallPlates(TestCase):
    """One order on plates too small for any of its lines, planned once; every test rolls back to it."""

    cast: ClassVar[Cast]
    order: ClassVar[str]
    first: ClassVar[tuple[BatchFacts, ...]]

    @classmethod
    def setUpClass(cls) -> None:
        super().setUpClass()
        try:
            cls.cast = found_cast()
            demo_substance(cls.cast)
            bench(cls.cast, plate_um=SMALL)
            cls.order = checked_order(cls.cast)
            cls.first = planned_all(cls.cast)
        except BaseException:
            cls.tearDownClass()
            raise

    def test_a_line_too_big_for_a_plate_is_split_into_equal_parts(self) -> None:
        for line in order_facts(self.order).lines:
            zones = zones_of_line(line.code)
            assert len(zones) > 1
            assert [(zone.part, zone.parts) for zone in zones] == [(k, len(zones)) for k in range(1, len(zones) + 1)]
            assert sum(zone.wanted for zone in zones) == 28
            assert max(zone.wanted for zone in zones) - min(zone.wanted for zone in zones) <= 1
            assert len({zone.code for zone in zones}) == len(zones)
            assert all(zone.spares >= spares_for(zone.wanted) for zone in zones)
            notes = [note for one in self.first for note in one.plate["why"] if f"{line.code} is split" in note]
            assert len(notes) == len(zones)

    def test_only_what_a_line_lacks_is_planned_again_under_a_new_number(self) -> None:
        lost = self.first[-1]
        lines = {zone.line: zone for zone in lost.zones if zone.line}
        services.cancel_batch(self.cast.tomas, lost.code, reason="the plate was scratched", at=NOW)
        lacking = parts_to_reprint(self.cast.site.pk)
        assert {part.line.line.code: part.units for part in lacking} == {code: z.wanted for code, z in lines.items()}
        assert {part.instead_of for part in lacking} == {(zone.code,) for zone in lines.values()}
        again = planned_all(self.cast)
        assert {one.code for one in again}.isdisjoint({one.code for one in self.first})
        for code, gone in lines.items():
            assert line_facts(code).committed_to == lost.plan
            zones = [zone for zone in zones_of_line(code) if zone.batch_state != "cancelled"]
            assert sum(zone.wanted for zone in zones) == 28
            new = [zone for zone in zones if zone.batch in {one.code for one in again}]
            assert sum(len(zone.units) for zone in new) == gone.wanted + spares_for(gone.wanted)
            assert set(Zone.objects.filter(code__in=[zone.code for zone in new]).values_list("held_by", flat=True)) == {
                lost.plan
            }
        assert parts_to_reprint(self.cast.site.pk) == ()
        assert order_facts(self.order).state == "verified"

    def test_a_reprint_that_comes_to_nothing_is_planned_once_more(self) -> None:
        batches = self.first
        for _ in range(2):
            services.cancel_batch(self.cast.tomas, batches[-1].code, reason="the plate was scratched", at=NOW)
            batches = planned_all(self.cast)
            assert len(batches) == 1
        zones = Zone.objects.filter(line__isnull=False).exclude(batch__state="cancelled")
        assert sum(zones.values_list("wanted", flat=True)) == 3 * 28

    def test_a_line_of_which_nothing_is_left_is_planned_as_a_whole(self) -> None:
        for one in self.first:
            services.cancel_batch(self.cast.tomas, one.code, reason="the printer is needed", at=NOW)
        assert {line.committed_to for line in order_facts(self.order).lines} == {""}
        assert parts_to_reprint(self.cast.site.pk) == ()
        again = planned_all(self.cast)
        assert {line.committed_to for line in order_facts(self.order).lines} == {again[0].plan}

    def test_two_plans_do_not_make_the_same_reprint(self) -> None:
        lost = self.first[-1]
        services.cancel_batch(self.cast.tomas, lost.code, reason="the plate was scratched", at=NOW)
        plans = [services.request_plan(self.cast.tomas, at=NOW) for _ in range(2)]
        done = [run(Work.objects.get(key=f"plan:{plan}").pk, clock=lambda: NOW) for plan in plans]
        assert done == [True, False]
        assert PlanRecord.objects.count() == 2


class OnOneOrder(TestCase):
    """A bench and one verified order that waits; every test rolls back to it."""

    cast: ClassVar[Cast]
    bench: ClassVar[Bench]

    @classmethod
    def setUpClass(cls) -> None:
        super().setUpClass()
        try:
            cls.cast = found_cast()
            demo_substance(cls.cast)
            cls.bench = bench(cls.cast)
            checked_order(cls.cast)
        except BaseException:
            cls.tearDownClass()
            raise

    def test_a_named_printer_is_the_only_one(self) -> None:
        second = bench_printer(self.cast, tank=a_tank(self.cast, self.bench.formulation, "tank 2"), name="Bench two")
        services.request_plan(self.cast.tomas, printer=second, at=NOW)
        work_off_all("plan")
        assert set(PrintBatch.objects.values_list("printer__code", flat=True)) == {second}

    def test_a_printer_out_of_use_or_without_a_profile_takes_no_plate(self) -> None:
        bench_printer(
            self.cast, tank=a_tank(self.cast, self.bench.formulation, "tank 2"), name="Other", kind="another kind"
        )
        broken = bench_printer(self.cast, tank=a_tank(self.cast, self.bench.formulation, "tank 3"), name="Broken")
        Printer.objects.filter(code=broken).update(out_of_use_at=NOW)
        assert {one.printer for one in planned_all(self.cast)} == {self.bench.printer}

    def test_what_is_promised_to_a_planned_batch_is_not_planned_again(self) -> None:
        batches = planned_all(self.cast)
        used = sum(one.plate["resin_ul"] - one.plate["resin"]["tank_minimum_ul"] for one in batches)
        assert promised_ul(self.bench.lot) == used > 0
        services.cancel_batch(self.cast.tomas, batches[0].code, reason="not needed", at=NOW)
        assert promised_ul(self.bench.lot) < used

    def test_another_tank_is_fitted_to_a_printer_that_stands_still(self) -> None:
        other = a_tank(self.cast, self.bench.formulation, "tank 2")
        services.fit_tank(self.cast.tomas, self.bench.printer, tank=other, at=NOW)
        assert printer_facts(self.bench.printer, site_id=self.cast.site.pk).tank == other
        second = bench_printer(self.cast, tank=self.bench.tank, name="Bench two")
        with pytest.raises(Conflict, match="is fitted to"):
            services.fit_tank(self.cast.tomas, second, tank=other, at=NOW)
        with pytest.raises(BadInput):
            services.fit_tank(self.cast.tomas, second, tank=self.bench.balance, at=NOW)
        with pytest.raises(NotAllowed):
            services.fit_tank(self.cast.mira, second, tank=other, at=NOW)

    def test_resin_in_a_tank_that_is_fitted_nowhere_counts(self) -> None:
        Printer.objects.update(tank_minimum_ul=40_000)
        loose = a_tank(self.cast, self.bench.formulation, "tank 2")
        stock.fill_tank(self.cast.tomas, tank=loose, resin_lot=self.bench.lot, volume_ml=Decimal(400), at=NOW)
        assert planned_all(self.cast)

    def test_new_codes_stand_nowhere_on_record(self) -> None:
        ready(self.cast, planned_all(self.cast)[0].code)
        for kind, rows in (("zone", Zone), ("print batch", PrintBatch), ("unit", PlacedUnit)):
            known = set(rows.objects.values_list("code", flat=True))
            some = sorted(known)[:3]
            assert codes_on_record(kind, [*some, "none such"]) == set(some)
            fresh = fresh_codes(kind, 500)
            assert len(set(fresh)) == 500
            assert known.isdisjoint(fresh)
            assert {kind_of(code) for code in fresh} == {kind}

    def test_hours_that_are_none_are_refused_by_name(self) -> None:
        self.cast.site.values_text = '{"opens_at": "nine"}'
        self.cast.site.save()
        plan = services.request_plan(self.cast.tomas, at=NOW)
        row = Work.objects.get(key=f"plan:{plan}")
        assert run(row.pk, clock=lambda: NOW) is False
        row.refresh_from_db()
        assert "opening hours" in row.failure
        assert not PrintBatch.objects.exists()


def test_a_plan_of_everything_uses_every_printer_and_says_why(cast: Cast) -> None:
    first = bench(cast, plate_um=MIDDLE)
    second = bench_printer(cast, tank=a_tank(cast, first.formulation, "tank 2"), name="Bench two", plate_um=MIDDLE)
    for number, doses in enumerate((("6 mg", "5 mg", "4 mg"), ("5.5 mg", "4.5 mg", "3.5 mg"))):
        checked_order(cast, *doses, patient=another_child(number))
    batches = planned_all(cast)
    assert {one.printer for one in batches} == {first.printer, second}
    for one in batches:
        assert one.plate["printer"] == one.printer
        assert any("ends first" in note for note in one.plate["why"])
        assert one.plate["times"]["ready_at"] > one.plate["times"]["printed_at"] > one.plate["times"]["set_up_at"]
    units = [
        unit["code"] for plate in shown_plan(cast.site.pk)["plates"] for z in plate["zones"] for unit in z["units"]
    ]
    assert len(units) == len(set(units)) == PlacedUnit.objects.count()


def test_without_a_lot_or_a_printer_nothing_is_planned(cast: Cast) -> None:
    with pytest.raises(NotThere):
        services.request_plan(cast.tomas, printer="PR-AAAAA", at=NOW)
    plan = services.request_plan(cast.tomas, at=NOW)
    row = Work.objects.get(key=f"plan:{plan}")
    assert run(row.pk, clock=lambda: NOW) is False
    row.refresh_from_db()
    assert "no resin lot can be printed" in row.failure


def test_what_one_lot_cannot_hold_is_made_from_the_next_or_left_out_latest_first(cast: Cast) -> None:
    one = bench(cast)
    steps = [{"dose": "3 mg", "times": ["07:00", "19:00"], "start_date": "2026-03-24", "days": 14}]
    late = checked_order(cast, patient=another_child(1), regimen={"steps": steps})
    soon = checked_order(cast)
    stock_bench = ready_bench(cast, one.formulation, at=NOW - timedelta(days=1))
    available = resin_lot_facts(one.lot, at=NOW).available_ul
    low = available - 10_500
    Printer.objects.filter(code=one.printer).update(tank_minimum_ul=low)
    plan = services.request_plan(cast.tomas, at=NOW)
    work_off_all("plan")
    left = plan_facts(cast.tomas, plan).left_out
    assert left
    assert all("does not hold enough" in item["why"] for item in left)
    first, last = ({line.code for line in order_facts(order).lines} for order in (soon, late))
    assert last <= {item["line"] for item in left} < first | last
    second = approved_resin_lot(cast, stock_bench, at=NOW - timedelta(days=1))
    batches = planned_all(cast)
    assert {batch.resin_lot for batch in batches} == {second}


def test_a_later_supply_is_not_printed_with_the_first(cast: Cast, at_bench: Bench) -> None:
    order = checked_order(cast, supply_days=14)
    first = planned_all(cast)
    lines = order_facts(order).lines
    assert {line.supply for line in lines if line.committed_to} == {1}
    left = plan_facts(cast.tomas, first[0].plan).left_out
    assert {item["line"] for item in left} == {line.code for line in lines if line.supply == 2}
    assert all("too early: supply 2 of 2 is planned from 2026-03-1" in item["why"] for item in left)
    again = planned_all(cast, at=NOW + timedelta(days=17))
    assert {zone.line for one in again for zone in one.zones if zone.line} == {
        line.code for line in lines if line.supply == 2
    }
