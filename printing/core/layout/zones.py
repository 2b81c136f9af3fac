"""The convex zones that could hold one dose line: rows of units on one raft with its code tab.

A zone is drawn from its own lower left corner. Here its hull is a rectangle; whoever adds another convex
kind adds a function that yields `ZoneShape`s with another polygon, and the packer's bounding size stays.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import isqrt

from printing.core.layout.request import Outline

MOST_ASPECTS = 14
"""More aspects per line gained nothing in trials."""

AREA_SLACK = (135, 100)
"""Aspects whose area exceeds the smallest one's by more than 35 % are not offered (judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneRules:
    """What the shape of a zone depends on beside its units [um]."""

    unit_gap_um: int
    border_um: int
    tab_um: tuple[int, int]
    tab_gap_um: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """Units in rows from below; every second row is moved by ``shift_um`` and holds ``odd_columns`` of them."""

    units: int
    columns: int
    odd_columns: int
    shift_um: int
    size_um: tuple[int, int]
    rise_um: int
    gap_um: int

    @property
    def counts(self) -> tuple[int, ...]:
        """Return how many units stand in each row; only the last row may be short."""
        pair = self.columns + self.odd_columns
        pairs, rest = divmod(self.units, pair)
        tail = (min(rest, self.columns), max(rest - self.columns, 0))
        return (self.columns, self.odd_columns) * pairs + tuple(count for count in tail if count)

    def row_end_um(self, row: int, count: int) -> int:
        """Return where the last of `count` units in `row` ends."""
        return (row % 2) * self.shift_um + count * self.size_um[0] + (count - 1) * self.gap_um

    @property
    def width_um(self) -> int:
        """Return the width over all rows."""
        return max(self.row_end_um(row, count) for row, count in enumerate(self.counts[:2]))

    @property
    def depth_um(self) -> int:
        """Return the depth over all rows."""
        return (len(self.counts) - 1) * self.rise_um + self.size_um[1]

    def centres_um(self) -> tuple[tuple[int, int], ...]:
        """Return the units' centres, row by row from below, from left to right."""
        width, depth = self.size_um
        return tuple(
            ((row % 2) * self.shift_um + place * (width + self.gap_um) + width // 2, row * self.rise_um + depth // 2)
            for row, count in enumerate(self.counts)
            for place in range(count)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """A zone before its units are drawn: rows, their offset on the raft, size, tab."""

    rows: Rows
    offset_um: tuple[int, int]
    size_um: tuple[int, int]
    tab_um: tuple[int, int, int, int]
    tab_rotation_deg: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneShape:
    """A zone's size, unit centres, units' rotation, raft polygon and code tab (x, y, width, depth) [um]."""

    width_um: int
    depth_um: int
    centres_um: tuple[tuple[int, int], ...]
    rotation_deg: int
    polygon_um: tuple[tuple[int, int], ...]
    tab_um: tuple[int, int, int, int]
    tab_rotation_deg: int

    @property
    def area_um2(self) -> int:
        """Return the area of the hull."""
        return self.width_um * self.depth_um


def all_shapes(outline: Outline, footprint_um: tuple[int, int], units: int, rules: ZoneRules) -> tuple[ZoneShape, ...]:
    """Return every zone worth considering for `units` units: none is at once wider and deeper than another.

    Sorted by width. Units of a zone stand in equal rows; the last one may be shorter.
    """
    return _all_shapes(outline, footprint_um, units, rules)


def offered_shapes(
    outline: Outline, footprint_um: tuple[int, int], units: int, rules: ZoneRules
) -> tuple[ZoneShape, ...]:
    """Return at most `MOST_ASPECTS` of `all_shapes`: the compact ones, spread evenly over the widths."""
    shapes = all_shapes(outline, footprint_um, units, rules)
    least = min(shape.area_um2 for shape in shapes)
    compact = [shape for shape in shapes if shape.area_um2 * AREA_SLACK[1] <= least * AREA_SLACK[0]]
    if len(compact) <= MOST_ASPECTS:
        return tuple(compact)
    last = len(compact) - 1
    picks = sorted({step * last // (MOST_ASPECTS - 1) for step in range(MOST_ASPECTS)})
    return tuple(compact[pick] for pick in picks)


def shape_of_test(
    outline: Outline, footprint_um: tuple[int, int], units: int, rules: ZoneRules, manner: int
) -> ZoneShape:
    """Return a test zone's shape: the most compact one (``manner`` 0), the narrowest (1) or the shallowest (2)."""
    shapes = all_shapes(outline, footprint_um, units, rules)
    compact = min(shapes, key=lambda shape: (shape.area_um2, shape.width_um))
    return (compact, shapes[0], shapes[-1])[manner]


@lru_cache(maxsize=4096)
def _all_shapes(outline: Outline, footprint_um: tuple[int, int], units: int, rules: ZoneRules) -> tuple[ZoneShape, ...]:
    found: dict[tuple[int, int], tuple[Draft, bool]] = {}
    for rows in _arrangements(outline, footprint_um, units, rules.unit_gap_um):
        for draft in _with_raft(rows, rules):
            width, depth = draft.size_um
            found.setdefault((width, depth), (draft, False))
            found.setdefault((depth, width), (draft, True))
    kept: list[ZoneShape] = []
    for width, depth in sorted(found):
        if not kept or depth < kept[-1].depth_um:
            draft, transposed = found[width, depth]
            kept.append(_drawn(draft, transposed=transposed, turn_units=outline != "round"))
    return tuple(kept)


def _arrangements(outline: Outline, footprint_um: tuple[int, int], units: int, gap_um: int) -> Iterator[Rows]:
    """Yield rows of every useful width: the least number of columns for each number of rows."""
    for shorter in (None, 0, 1) if outline == "round" else (None,):
        last = 0
        for columns in range(1 if shorter != 1 else 2, units + 1):
            if shorter is None:
                rows = _grid(columns, footprint_um, units, gap_um)
            else:
                rows = _hexagonal(columns, columns - shorter, footprint_um[0], units, gap_um)
            if len(rows.counts) != last:
                last = len(rows.counts)
                yield rows


def _grid(columns: int, footprint_um: tuple[int, int], units: int, gap_um: int) -> Rows:
    width, depth = (_even(side) for side in footprint_um)
    return Rows(
        units=units,
        columns=columns,
        odd_columns=columns,
        shift_um=0,
        size_um=(width, depth),
        rise_um=depth + gap_um,
        gap_um=gap_um,
    )


def _hexagonal(columns: int, odd_columns: int, diameter_um: int, units: int, gap_um: int) -> Rows:
    """Return rows whose centres keep one diameter and gap from all six neighbours, rounded up."""
    diameter = _even(diameter_um)
    step = diameter + gap_um
    shift = (step + 1) // 2
    nearest = min(shift, step - shift)
    rise = isqrt(step * step - nearest * nearest - 1) + 1
    return Rows(
        units=units,
        columns=columns,
        odd_columns=odd_columns,
        shift_um=shift,
        size_um=(diameter, diameter),
        rise_um=rise,
        gap_um=gap_um,
    )


def _with_raft(rows: Rows, rules: ZoneRules) -> Iterator[Draft]:
    """Yield the rows with their border and the code tab below, beside, or where the last row leaves room."""
    border, (long, short) = rules.border_um, rules.tab_um
    width, depth, counts = rows.width_um, rows.depth_um, rows.counts
    inner_width, inner_depth = width + 2 * border, depth + 2 * border
    lift = max(border, rules.tab_gap_um + short)
    yield Draft(
        rows=rows,
        offset_um=(border, lift),
        size_um=(max(inner_width, long), border + depth + lift),
        tab_um=(0, 0, long, short),
        tab_rotation_deg=0,
    )
    yield Draft(
        rows=rows,
        offset_um=(lift, border),
        size_um=(border + width + lift, max(inner_depth, long)),
        tab_um=(0, 0, short, long),
        tab_rotation_deg=90,
    )
    free_x = border + rows.row_end_um(len(counts) - 1, counts[-1]) + rules.tab_gap_um
    free_y = border + depth - rows.rise_um + rules.tab_gap_um if len(counts) > 1 else 0
    for tab, turn in (((long, short), 0), ((short, long), 90)):
        size = (max(inner_width, free_x + tab[0]), max(inner_depth, free_y + tab[1]))
        yield Draft(
            rows=rows,
            offset_um=(border, border),
            size_um=size,
            tab_um=(size[0] - tab[0], size[1] - tab[1], *tab),
            tab_rotation_deg=turn,
        )


def _drawn(draft: Draft, *, transposed: bool, turn_units: bool) -> ZoneShape:
    width, depth = draft.size_um
    x, y, long, short = draft.tab_um
    left, low = draft.offset_um
    centres = tuple((across + left, up + low) for across, up in draft.rows.centres_um())
    turn, rotation = draft.tab_rotation_deg, 0
    if transposed:
        width, depth, x, y, long, short = depth, width, y, x, short, long
        centres = tuple((up, across) for across, up in centres)
        turn, rotation = 90 - turn, 90 if turn_units else 0
    return ZoneShape(
        width_um=width,
        depth_um=depth,
        centres_um=centres,
        rotation_deg=rotation,
        polygon_um=((0, 0), (width, 0), (width, depth), (0, depth)),
        tab_um=(x, y, long, short),
        tab_rotation_deg=turn,
    )


def _even(value: int) -> int:
    return value + value % 2
