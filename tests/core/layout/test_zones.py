"""Zones by themselves: all units there, gaps kept exactly, tab clear of them, nothing dominated."""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from printing.core.layout.zones import MOST_ASPECTS, ZoneRules, all_shapes, offered_shapes, plain_columns, plain_shape

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


@settings(max_examples=30, deadline=None)
@given(units=st.integers(min_value=1, max_value=30), one=st.tuples(SIDES, SIDES), two=st.tuples(SIDES, SIDES))
def test_a_plain_grid_never_grows_when_its_units_shrink(units: int, one: tuple[int, int], two: tuple[int, int]) -> None:
    larger = (max(one[0], two[0]), max(one[1], two[1]))
    for columns in plain_columns(units):
        small, large = (plain_shape(footprint, units, columns, RULES) for footprint in (one, larger))
        assert small.width_um <= large.width_um
        assert small.depth_um <= large.depth_um


@pytest.mark.parametrize(("units", "columns"), [(1, (1,)), (2, (1, 2)), (3, (1, 2, 3)), (10, (1, 4, 10))])
def test_test_zones_are_tried_in_three_manners(units: int, columns: tuple[int, ...]) -> None:
    assert plain_columns(units) == columns


def test_hexagonal_rows_take_less_than_the_best_grid() -> None:
    grids = [(12_000 * columns + 1_000) * (12_000 * -(-60 // columns) + 4_500) for columns in range(1, 61)]
    shapes = all_shapes("round", (10_000, 10_000), 60, RULES)
    assert min(shape.area_um2 for shape in shapes) < 0.95 * min(grids)
