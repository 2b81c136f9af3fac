"""The planner through the checker, on random workloads; refusals; the same bytes whatever the hash seed."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from dosewright.ground.pure.canonical import canonical_text
from dosewright.ground.pure.errors import BadInput, Blocked
from printing.core.layout.checker import check_plan
from printing.core.layout.plan import make_plan
from printing.core.layout.record import plan_record, record_hash
from printing.core.layout.request import PlacedLine, PlanRequest, PlateRules, RaftRules, ResinRules, TestSpot
from tests.core.layout.workloads import TIME, expectations, line, request

SIDE = st.integers(min_value=2_000, max_value=14_000)


@st.composite
def some_line(draw: st.DrawFn, number: int) -> PlacedLine:
    outline = draw(st.sampled_from(["round", "round", "stadium", "rectangle"]))
    width, depth = draw(SIDE), draw(SIDE)
    footprint = (width, width) if outline == "round" else (width, depth)
    return line(
        number,
        count=draw(st.integers(min_value=1, max_value=60)),
        spares=draw(st.integers(min_value=0, max_value=5)),
        outline=outline,
        footprint_um=footprint,
        layers=draw(st.integers(min_value=20, max_value=min(160, 6 * min(footprint) // 50))),
        formulation=draw(st.sampled_from(["FM-A", "FM-B"])),
        mount=draw(st.sampled_from(["necks", "sheet"])),
        dose_mg=Decimal(draw(st.integers(min_value=1, max_value=4))),
    )


@st.composite
def some_request(draw: st.DrawFn) -> PlanRequest:
    count = draw(st.integers(min_value=1, max_value=10))
    places = draw(st.lists(st.sampled_from(["corner", "centre", "opposite corner"]), unique=True, max_size=2))
    tests = tuple(
        TestSpot(which=draw(st.sampled_from(["smallest", "largest"])), where=where, units=2)  # type: ignore[arg-type]
        for where in places
    )
    gap = draw(st.integers(min_value=1_000, max_value=3_000))
    plate = PlateRules(
        plate_um=draw(st.sampled_from([(145_000, 145_000), (120_000, 68_000), (160_000, 90_001)])),
        build_height_um=150_000,
        unit_gap_um=gap,
        zone_gap_um=draw(st.integers(min_value=max(3_000, gap), max_value=6_000)),
        edge_um=draw(st.integers(min_value=3_000, max_value=6_000)),
    )
    return request(*(draw(some_line(number + 1)) for number in range(count)), tests=tests, plate=plate)


@settings(max_examples=50, deadline=None)
@given(asked=some_request())
def test_every_plan_is_sound(asked: PlanRequest) -> None:
    try:
        plan = make_plan(asked)
    except BadInput as refused:
        small = asked.plate.plate_um[1] < 100_000
        event("refused: large test zones on a small plate")
        if small and {one.field for one in refused.refusals} == {"tests"}:
            return
        raise
    record = plan_record(plan)
    stored = json.loads(canonical_text(record))
    assert check_plan(stored, expectations(asked)) == []
    assert record_hash(stored) == record_hash(record)
    for group in record["groups"]:
        assert group["plates"] >= group["bound_plates"] >= 1
        assert group["controllable_s"] >= group["bound_controllable_s"]
        assert group["controllable_ratio"] >= 1


@settings(max_examples=10, deadline=None)
@given(asked=some_request(), data=st.data())
def test_the_order_in_which_lines_come_changes_nothing(asked: PlanRequest, data: st.DataObject) -> None:
    shuffled = replace(asked, lines=tuple(data.draw(st.permutations(asked.lines))))
    try:
        wanted = canonical_text(plan_record(make_plan(asked)))
    except BadInput:
        return
    assert canonical_text(plan_record(make_plan(shuffled))) == wanted


def _mixed() -> PlanRequest:
    lines = [line(n, count=7 * n, footprint_um=(3_001 + 900 * n,) * 2, layers=40 + 9 * n) for n in range(1, 9)]
    lines.append(line(20, outline="stadium", footprint_um=(14_000, 5_000), formulation="FM-B"))
    return request(*lines)


def test_the_same_bytes_under_two_hash_seeds() -> None:
    code = (
        "from tests.core.layout.test_plan import _mixed\n"
        "from printing.core.layout.plan import make_plan\n"
        "from printing.core.layout.record import plan_record, record_hash\n"
        "print(record_hash(plan_record(make_plan(_mixed()))))"
    )
    answers = set()
    for seed in ("1", "4242"):
        done = subprocess.run(
            [sys.executable, "-c", code], env={**os.environ, "PYTHONHASHSEED": seed}, capture_output=True, check=True
        )
        answers.add(done.stdout.strip())
    assert answers == {record_hash(plan_record(make_plan(_mixed()))).encode()}


def test_the_record_has_the_shape_of_the_command() -> None:
    record = plan_record(make_plan(_mixed()))
    for plate in record["plates"]:
        assert {"batch", "printer", "formulation", "lot", "layer_um", "layers", "seconds", "resin_ul", "zones"} <= set(
            plate
        )
        assert set(plate["seconds"]) == {"setup", "layers", "raster", "contour"}
        for zone in plate["zones"]:
            assert {"line", "code", "part", "polygon_um", "units"} <= set(zone)
            for unit in zone["units"]:
                assert set(unit) == {"code", "x_um", "y_um", "rotation_deg", "orientation", "footprint_um"}


def test_a_plate_costs_what_its_parts_cost() -> None:
    one = line(1, count=10, spares=0, footprint_um=(8_000, 8_000), layers=100)
    plan = make_plan(request(one, tests=()))
    (plate,) = plan.plates
    raft_layers = (600 + 1_000) // 50
    assert plate.layers == 100 + raft_layers
    assert plate.seconds["setup"] == 900
    assert plate.seconds["layers"] == 10 * plate.layers
    unit_s = one.section_um2_layers * 10 / 1e6 / (TIME.scan_mm_s * TIME.hatch_mm)
    assert unit_s < plate.seconds["raster"] < 2 * unit_s
    assert plate.resin.units_ul == -(-10 * one.volume_um3 // 10**9)
    parts = (plate.resin.units_ul, plate.resin.rafts_ul, plate.resin.necks_ul, 3_000, 50_000)
    assert plate.resin.total_ul == sum(parts)
    assert all(part > 0 for part in parts)


def test_units_on_the_sheet_have_no_finger_gap_and_no_necks() -> None:
    (plate,) = make_plan(request(line(1, mount="sheet"))).plates
    assert plate.base_layers == 600 // 50
    assert plate.resin.necks_ul == 0
    assert all(zone.necks is None for zone in plate.zones)


def test_a_line_too_big_for_a_plate_is_split_into_the_fewest_equal_parts() -> None:
    asked = request(line(1, count=257, spares=0, footprint_um=(10_000, 10_000)), tests=())
    plan = make_plan(asked)
    zones = [zone for plate in plan.plates for zone in plate.zones]
    assert sorted(zone.part for zone in zones) == [(1, 3), (2, 3), (3, 3)]
    assert sorted(len(zone.units) for zone in zones) == [85, 86, 86]
    assert any("is split" in note for plate in plan.plates for note in plate.why)
    assert check_plan(plan_record(plan), expectations(asked)) == []


def test_a_line_that_fits_is_not_split() -> None:
    plan = make_plan(request(line(1, count=100, spares=0, footprint_um=(10_000, 10_000)), tests=()))
    assert [zone.part for plate in plan.plates for zone in plate.zones] == [(1, 1)]


def test_test_units_are_those_of_the_smallest_and_largest_dose_of_their_plate() -> None:
    (plate,) = make_plan(request(line(3), line(1), line(2))).plates
    tests = {zone.test.where: zone for zone in plate.zones if zone.test is not None}
    assert tests["corner"].line.code == line(1).code
    assert tests["opposite corner"].line.code == line(3).code
    assert tests["corner"].polygon_um[0] == (5_000, 5_000)
    assert tests["opposite corner"].polygon_um[2] == (140_000, 140_000)
    patients = set(line(1).unit_codes + line(2).unit_codes + line(3).unit_codes)
    assert not patients & {unit.code for zone in tests.values() for unit in zone.units}


def test_the_most_urgent_plate_comes_first() -> None:
    late = line(1, formulation="FM-A", ready_by=datetime(2030, 1, 9, tzinfo=UTC))
    soon = line(2, formulation="FM-B", ready_by=datetime(2030, 1, 2, tzinfo=UTC))
    whenever = line(3, formulation="FM-0")
    record = plan_record(make_plan(request(late, whenever, soon)))
    assert [plate["formulation"] for plate in record["plates"]] == ["FM-B", "FM-A", "FM-0"]
    assert [plate["ready_by"] for plate in record["plates"]] == ["2030-01-02T00:00:00Z", "2030-01-09T00:00:00Z", None]


def test_a_further_plate_says_why() -> None:
    lines = [line(n, count=60, footprint_um=(11_000, 11_000)) for n in range(1, 4)]
    plan = make_plan(request(*lines))
    assert len(plan.plates) > 1
    assert sum("opened for" in note for plate in plan.plates for note in plate.why) == len(plan.plates) - 1


def test_look_alike_zone_codes_are_passed_over() -> None:
    codes = ("ZN-33333", "ZN-33334", "ZN-33344", "ZN-44444")
    plan = make_plan(request(line(1), line(2), tests=(), zone_codes=codes))
    assert sorted(zone.code for zone in plan.plates[0].zones) == ["ZN-33333", "ZN-33344"]


def _plate(side_um: int = 145_000, **rules: int) -> PlateRules:
    return PlateRules(plate_um=(side_um, 145_000), build_height_um=150_000, **rules)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"lines": ()}, "lines"),
        ({"lines": (line(1), line(1))}, "lines.code"),
        ({"zone_codes": ()}, "zone_codes"),
        ({"batch_codes": ()}, "batch_codes"),
        ({"test_unit_codes": ()}, "test_unit_codes"),
        ({"test_unit_codes": line(1).unit_codes}, "unit_codes"),
        ({"tests": (TestSpot(which="smallest", where="corner", units=0),)}, "tests.units"),
        ({"tests": (TestSpot(which="smallest", where="corner", units=300),)}, "tests"),
        ({"plate": _plate(unit_gap_um=999)}, "plate.unit_gap_um"),
        ({"plate": _plate(zone_gap_um=2_999)}, "plate.zone_gap_um"),
        ({"plate": _plate(edge_um=2_999)}, "plate.edge_um"),
        ({"plate": _plate(9_000)}, "plate.plate_um[0]"),
        ({"raft": RaftRules(border_um=100, bevel_um=50)}, "raft.border_um"),
        ({"raft": RaftRules(bevel_um=600)}, "raft.bevel_um"),
        ({"raft": RaftRules(relief_um=0)}, "raft"),
        ({"plate": _plate(unit_gap_um=6_000)}, "plate.zone_gap_um"),
        ({"resin": ResinRules(tank_minimum_ul=-1, loss_ul=0)}, "resin"),
        ({"resin": ResinRules(tank_minimum_ul=0, loss_ul=0, liquid_per_cured=Decimal("0.9"))}, "resin"),
        ({"lines": tuple(line(n, count=30_000) for n in (1, 60))}, "lines"),
        ({"raft": RaftRules(slab_um=625)}, "raft"),
    ],
)  # fmt: skip
def test_refuses_requests_that_cannot_be_planned(change: dict[str, Any], field: str) -> None:
    with pytest.raises(BadInput) as caught:
        make_plan(replace(request(line(1)), **change))
    assert field in {one.field for one in caught.value.refusals}


@pytest.mark.parametrize(
    ("facts", "part"),
    [
        ({"count": 0, "spares": 16}, "count"),
        ({"spares": 3, "unit_codes": ()}, "unit_codes"),
        ({"footprint_um": (6_000, 7_000)}, "footprint_um"),
        ({"layers": 60, "height_um": 3_001}, "height_um"),
        ({"layers": 3_000}, "height_um"),
        ({"layers": 400, "footprint_um": (3_000, 3_000)}, "height_um"),
        ({"footprint_um": (150_000, 150_000)}, "footprint_um"),
        ({"outline": "star"}, "outline"),
        ({"volume_um3": 0}, "footprint_um"),
    ],
)
def test_refuses_lines_that_are_none(facts: dict[str, Any], part: str) -> None:
    with pytest.raises(BadInput) as caught:
        make_plan(request(line(7, **facts), tests=()))
    assert f"lines.{line(7).code}.{part}" in {one.field for one in caught.value.refusals}


def test_refuses_a_lot_that_does_not_hold_enough() -> None:
    asked = request(line(1))
    need = make_plan(asked).plates[0].resin.total_ul
    make_plan(replace(asked, lot_available_ul={"RN-A": need}))
    with pytest.raises(Blocked) as caught:
        make_plan(replace(asked, lot_available_ul={"RN-A": need - 1}))
    assert caught.value.refusals[0].limit == str(need)
