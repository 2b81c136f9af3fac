"""One plan over several lots and printers: sound by the checker, balanced, in time where that can be, explained."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace
from datetime import datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dosewright.ground.pure.canonical import canonical_text
from dosewright.ground.pure.errors import BadInput, Blocked
from printing.core.layout.checker import check_plan
from printing.core.layout.joint import BLIND, BY_DAY, make_joint_plan
from printing.core.layout.joint_request import JointRequest, LotLines
from printing.core.layout.plan_types import Plan
from printing.core.layout.record import plan_record, record_hash
from printing.core.layout.request import PlacedLine
from printing.core.layout.schedule import PrinterNow
from tests.core.layout.joint_workloads import MONDAY, in_days, joint, joint_expectations, lot, way
from tests.core.layout.workloads import TIME, line

ONE, TWO = "PR-A", "PR-B"
BOTH = (way(ONE), way(TWO))


def sound(asked: JointRequest) -> Plan:
    """Return the plan of a request after the checker has found nothing in its stored text."""
    plan = make_joint_plan(asked)
    stored = json.loads(canonical_text(plan_record(plan)))
    assert check_plan(stored, joint_expectations(asked)) == []
    return plan


def large(number: int, **other: Any) -> PlacedLine:
    """Return a line that fills more than half a plate."""
    return line(number, **({"count": 40, "footprint_um": (11_000, 11_000)} | other))


@st.composite
def some_lot(draw: st.DrawFn, number: int) -> LotLines:
    lines = []
    for k in range(draw(st.integers(min_value=1, max_value=3))):
        side = draw(st.integers(min_value=3_000, max_value=12_000))
        lines.append(
            line(
                10 * number + k + 1,
                count=draw(st.sampled_from([7, 28, 60, 150])),
                footprint_um=(side, side),
                layers=draw(st.integers(min_value=20, max_value=min(120, 6 * side // 50))),
                formulation=f"FM-{number}",
                lot=f"RN-{number}",
                ready_by=draw(st.sampled_from([None, in_days(0.2), in_days(1.1), in_days(4)])),
            )
        )
    small = way(TWO, side_um=90_000, profile="PF-B")
    ways = draw(st.sampled_from([(way(ONE),), (small,), (way(ONE), small), BOTH]))
    return lot(*lines, ways=ways)


@settings(max_examples=5, deadline=None)
@given(data=st.data())
def test_every_joint_plan_is_sound(data: st.DataObject) -> None:
    parts = [data.draw(some_lot(number)) for number in range(data.draw(st.integers(min_value=1, max_value=3)))]
    plates = {one.printer: one for part in parts for one in part.ways}
    parts = [
        replace(part, ways=tuple(replace(one, plate=plates[one.printer].plate) for one in part.ways)) for part in parts
    ]
    asked = joint(*parts)
    plan = sound(asked)
    by_printer: dict[str, list[datetime]] = {}
    for plate in plan.plates:
        assert plate.times is not None
        assert plate.times.printer == plate.printer
        taken = by_printer.setdefault(plate.printer, [])
        assert not taken or taken[-1] < plate.times.set_up_at
        taken.append(plate.times.printed_at)
    for group in plan.groups:
        assert group.plates >= group.bound_plates >= 1
        assert group.controllable_s >= group.bound_controllable_s


def test_lots_do_not_meet_on_a_plate_and_every_plate_says_its_printer() -> None:
    one = lot(line(1), line(2), ways=BOTH)
    other = lot(line(3, formulation="FM-B", lot="RN-B"), ways=BOTH)
    plan = sound(joint(one, other))
    assert sorted((plate.key.formulation, plate.key.lot) for plate in plan.plates) == [
        ("FM-A", "RN-A"),
        ("FM-B", "RN-B"),
    ]
    assert {plate.printer for plate in plan.plates} == {ONE, TWO}


def test_two_printers_share_the_plates_of_one_lot() -> None:
    lines = [large(number) for number in range(1, 5)]
    alone = sound(joint(lot(*lines, ways=(way(ONE),))))
    shared = sound(joint(lot(*lines, ways=BOTH)))
    assert len(shared.plates) == len(alone.plates) > 1
    assert {plate.printer for plate in shared.plates} == {ONE, TWO}
    last = max(plate.times.printed_at for plate in shared.plates if plate.times)
    assert last < max(plate.times.printed_at for plate in alone.plates if plate.times)
    assert any("ends first" in note for plate in shared.plates for note in plate.why)


def test_a_plate_goes_only_where_its_profile_is_validated() -> None:
    one = lot(*(large(number) for number in (1, 2, 3)), ways=(way(TWO),))
    other = lot(line(9, formulation="FM-B", lot="RN-B"), ways=(way(ONE, profile="PF-B"),))
    plan = sound(joint(one, other))
    assert {(plate.key.formulation, plate.printer, plate.key.profile) for plate in plan.plates} == {
        ("FM-A", TWO, "PF-A"),
        ("FM-B", ONE, "PF-B"),
    }


def test_a_printer_that_holds_the_formulation_is_preferred_to_a_change() -> None:
    part = lot(line(1), ways=BOTH)
    now = (
        PrinterNow(code=ONE, free_at=MONDAY, formulation="FM-B"),
        PrinterNow(code=TWO, free_at=MONDAY, formulation="FM-A"),
    )
    (plate,) = sound(joint(part, printers=now)).plates
    assert plate.printer == TWO
    assert plate.times is not None
    assert not plate.times.change_over
    busy = (now[0], replace(now[1], free_at=in_days(1)))
    (plate,) = sound(joint(part, printers=busy)).plates
    assert plate.printer == ONE
    assert any("changed over" in note for note in plate.why)


def test_two_kinds_of_printer_share_a_lot_when_that_saves_lateness() -> None:
    """Alone the large plate prints three lines one after the other; each plate is checked by its own size."""
    slow = replace(TIME, layer_s=120.0)
    ways = (way(ONE, side_um=120_000, profile="PF-B", time=slow), way(TWO, time=slow))
    lines = [large(number, layers=300, ready_by=in_days(1.4)) for number in range(1, 4)]
    plan = sound(joint(lot(*lines, ways=ways)))
    assert {plate.printer for plate in plan.plates} == {ONE, TWO}
    for plate in plan.plates:
        assert plate.rules.plate_um == ((120_000, 120_000) if plate.printer == ONE else (145_000, 145_000))
    late = sum(plate.times.late_s for plate in plan.plates if plate.times)
    for alone in ways:
        other = sound(joint(lot(*lines, ways=(alone,))))
        assert late < sum(plate.times.late_s for plate in other.plates if plate.times)


def test_plates_are_filled_by_due_day_when_that_saves_lateness() -> None:
    """By height alone a soon line shares each plate with a late one, and the second plate ends a day later."""
    slow = replace(TIME, layer_s=60.0)
    soon = [large(n, count=30, layers=layers, ready_by=in_days(1.375)) for n, layers in ((1, 600), (2, 400))]
    late = [large(n, count=30, layers=layers, ready_by=in_days(9)) for n, layers in ((3, 700), (4, 500))]
    plan = sound(joint(lot(*soon, *late, ways=(way(ONE, time=slow),))))
    assert BY_DAY in plan.groups[0].notes["kept"]
    assert any(BLIND in note for name, note in plan.groups[0].notes.items() if name != "kept")
    first = plan.plates[0]
    assert {zone.line.code for zone in first.zones} == {one.code for one in soon}
    assert first.times is not None
    assert first.times.late_s == 0


def test_with_time_to_spare_the_plan_is_no_dearer_than_the_blind_one() -> None:
    lines = [large(n, layers=40 + 10 * n, ready_by=in_days(20 + n)) for n in range(1, 6)]
    dated = sound(joint(lot(*lines, ways=(way(ONE),))))
    blind = sound(joint(lot(*(replace(one, ready_by=None) for one in lines), ways=(way(ONE),))))
    spent = [sum(plate.seconds["setup"] + plate.seconds["layers"] for plate in plan.plates) for plan in (dated, blind)]
    assert spent[0] <= spent[1]
    assert all(plate.times.late_s == 0 for plate in dated.plates if plate.times)


def test_what_cannot_be_in_time_is_planned_and_called_late() -> None:
    (plate,) = sound(joint(lot(line(1, ready_by=in_days(0.01)), ways=(way(ONE),)))).plates
    assert plate.times is not None
    assert plate.times.late_s > 0
    assert any(note.startswith("LATE") for note in plate.why)


def test_a_reprint_says_which_zones_it_stands_in_for() -> None:
    (plate,) = sound(joint(lot(line(1, instead_of=("ZN-34679",)), ways=(way(ONE),), tests=()))).plates
    assert any("reprint" in note and "ZN-34679" in note for note in plate.why)
    assert plan_record(Plan(plates=(plate,), groups=()))["plates"][0]["zones"][0]["instead_of"] == ["ZN-34679"]


def test_each_printer_that_takes_part_needs_its_tanks_minimum() -> None:
    lines = [large(number) for number in range(1, 5)]
    plan = sound(joint(lot(*lines, ways=BOTH)))
    need = sum(plate.resin.used_ul for plate in plan.plates) + 2 * 50_000
    make_joint_plan(joint(lot(*lines, ways=BOTH, store_ul=need)))
    tanked = (replace(BOTH[0], in_tank_ul=30_000), BOTH[1])
    make_joint_plan(joint(lot(*lines, ways=tanked, store_ul=need - 30_000)))
    with pytest.raises(Blocked) as caught:
        make_joint_plan(joint(lot(*lines, ways=BOTH, store_ul=need - 1)))
    assert (caught.value.refusals[0].field, caught.value.refusals[0].limit) == ("lots.RN-A", str(need))


def test_a_line_that_fits_no_plate_is_named() -> None:
    with pytest.raises(BadInput) as caught:
        make_joint_plan(joint(lot(line(1), line(7, footprint_um=(150_000, 150_000)), ways=BOTH)))
    assert caught.value.refusals[0].field.startswith(f"lines.{line(7).code}.")


def test_the_order_in_which_lots_lines_and_printers_come_changes_nothing() -> None:
    lines = [large(number) for number in range(1, 4)]
    other = lot(line(9, formulation="FM-B", lot="RN-B"), ways=BOTH)
    asked = joint(lot(*lines, ways=BOTH), other)
    turned = joint(lot(*reversed(lines), ways=tuple(reversed(BOTH))), other, printers=tuple(reversed(asked.printers)))
    assert canonical_text(plan_record(make_joint_plan(asked))) == canonical_text(plan_record(make_joint_plan(turned)))


def _mixed() -> JointRequest:
    small = way(TWO, side_um=110_000, profile="PF-B")
    lots = [
        lot(
            *(
                line(
                    10 * number + k,
                    count=14 * k,
                    footprint_um=(4_000 + 700 * k,) * 2,
                    layers=40 + 9 * k,
                    formulation=f"FM-{number}",
                    lot=f"RN-{number}",
                    ready_by=in_days(k % 3 + 1),
                )
                for k in range(1, 5)
            ),
            ways=(way(ONE), small),
        )
        for number in (1, 2)
    ]
    return joint(*lots)


def test_the_same_bytes_under_two_hash_seeds() -> None:
    code = (
        "from tests.core.layout.test_joint import _mixed\n"
        "from printing.core.layout.joint import make_joint_plan\n"
        "from printing.core.layout.record import plan_record, record_hash\n"
        "print(record_hash(plan_record(make_joint_plan(_mixed()))))"
    )
    answers = set()
    for seed in ("1", "4242"):
        done = subprocess.run(
            [sys.executable, "-c", code], env={**os.environ, "PYTHONHASHSEED": seed}, capture_output=True, check=True
        )
        answers.add(done.stdout.strip())
    assert answers == {record_hash(plan_record(sound(_mixed()))).encode()}
