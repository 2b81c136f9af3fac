"""Zones by themselves: all units there, gaps kept exactly, tab clear of them, nothing dominated."""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

from hypothesis import given, settings
from hypothesis import strategies as st

from printing.core.layout.zones import MOST_ASPECTS, ZoneRules, all_shapes, offered_shapes, shape_of_test

RULES = ZoneRules(unit_gap_um=2_000, border_um=1_500, tab_um=(12_000, 4_000), tab_gap_um=1_000)
SIDES = st.integers(min_value=1_500, max_value=20_000)
UNITS = st.integers(min_value=1, max_value=60)


@settings(max_examples=30, deadline=None)
@given(diameter=SIDES, units=UNITS, gap=st.integers(min_value=1_000, max_value=5_001))
def test_round_units_keep_their_gap_in_every_aspect(diameter: int, units: int, gap: int) -> None:
    rules = ZoneRules(unit_gap_um=gap, border_um=1_500, tab_um=(12_000, 4_000), tab_gap_um=1_000)
    for shape in all_shapes("round", (diameter, diameter), units, rules):
        centres = shape.centres_um
        assert len(set(centres)) == units
        nearest = min(
            ((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 for k, a in enumerate(centres) for b in centres[:k]),
            default=(diameter + gap) ** 2,
        )
        assert nearest >= (diameter + gap) ** 2
        border = (diameter + 1) // 2 + rules.border_um
        for x, y in centres:
            assert border <= x <= shape.width_um - border
            assert border <= y <= shape.depth_um - border
            left, low, wide, deep = shape.tab_um
            off = (max(left - x, 0, x - left - wide), max(low - y, 0, y - low - deep))
            assert off[0] ** 2 + off[1] ** 2 >= (diameter / 2 + rules.tab_gap_um) ** 2


@settings(max_examples=30, deadline=None)
@given(width=SIDES, depth=SIDES, units=UNITS, outline=st.sampled_from(["stadium", "rectangle"]))
def test_other_units_lie_in_a_grid_and_turn_with_it(
    width: int, depth: int, units: int, outline: Literal["stadium", "rectangle"]
) -> None:
    for shape in all_shapes(outline, (width, depth), units, RULES):
        sides = (width, depth) if shape.rotation_deg == 0 else (depth, width)
        assert len(set(shape.centres_um)) == units
        for axis, extent in enumerate((shape.width_um, shape.depth_um)):
            places = sorted({centre[axis] for centre in shape.centres_um})
            assert all(b - a >= sides[axis] + 2_000 for a, b in pairwise(places))
            assert places[0] * 2 >= sides[axis] + 3_000
            assert (extent - places[-1]) * 2 >= sides[axis] + 3_000


@settings(max_examples=30, deadline=None)
@given(diameter=SIDES, units=UNITS)
def test_no_aspect_is_both_wider_and_deeper_than_another(diameter: int, units: int) -> None:
    shapes = all_shapes("round", (diameter, diameter), units, RULES)
    sizes = [(shape.width_um, shape.depth_um) for shape in shapes]
    assert sizes == sorted(sizes)
    assert all(a[1] > b[1] for a, b in pairwise(sizes))
    offered = offered_shapes("round", (diameter, diameter), units, RULES)
    assert 1 <= len(offered) <= MOST_ASPECTS
    assert set(offered) <= set(shapes)


def test_test_zones_are_tried_in_three_manners() -> None:
    shapes = all_shapes("round", (6_000, 6_000), 3, RULES)
    compact, narrow, shallow = (shape_of_test("round", (6_000, 6_000), 3, RULES, manner) for manner in range(3))
    assert compact.area_um2 == min(shape.area_um2 for shape in shapes)
    assert narrow.width_um == min(shape.width_um for shape in shapes)
    assert shallow.depth_um == min(shape.depth_um for shape in shapes)


def test_hexagonal_rows_take_less_than_the_best_grid() -> None:
    grids = [(12_000 * columns + 1_000) * (12_000 * -(-60 // columns) + 4_500) for columns in range(1, 61)]
    shapes = all_shapes("round", (10_000, 10_000), 60, RULES)
    assert min(shape.area_um2 for shape in shapes) < 0.95 * min(grids)
