"""Zones onto plates: first fit by descending height into lists of the largest free rectangles.

The free rectangles of a plate overlap each other and together cover all that is free (the "maximal
rectangles" way; Jylanki, "A thousand ways to pack the bin", 2010). A zone takes its size plus the zone gap,
and the plate is widened by one gap, so that gaps lie between zones only.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from printing.core.layout.zones import ZoneShape


class Box(NamedTuple):
    """A rectangle by lower left corner and size [um]."""

    x: int
    y: int
    width: int
    depth: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """A zone to place: its aspects, the layers it costs, and a key that settles ties."""

    key: tuple[str, int]
    shapes: tuple[ZoneShape, ...]
    layers: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """An item's chosen aspect and lower left corner on its plate, from the usable area's corner [um]."""

    item: Item
    shape: ZoneShape
    x_um: int
    y_um: int


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnedAway:
    """Why a further plate was opened: the item, and the largest room left on the plates before [um]."""

    key: tuple[str, int]
    smallest_um: tuple[int, int]
    room_um: tuple[int, int]


@dataclass(slots=True, kw_only=True)
class OpenPlate:
    """A plate being filled: its free rectangles, what stands on it, and whom the plates before turned away."""

    free: list[Box]
    turned_away: TurnedAway | None
    spots: list[Spot] = field(default_factory=list)


Score = Callable[[ZoneShape, int, int], tuple[int, ...]]


def by_area(shape: ZoneShape, spare_x: int, spare_y: int) -> tuple[int, ...]:
    """Prefer the smaller zone, then the smaller sliver."""
    return (shape.area_um2, min(spare_x, spare_y), max(spare_x, spare_y))


def by_short_side(shape: ZoneShape, spare_x: int, spare_y: int) -> tuple[int, ...]:
    """Prefer the place that leaves the smallest sliver, then the smaller zone."""
    return (min(spare_x, spare_y), shape.area_um2, max(spare_x, spare_y))


SCORES: tuple[Score, ...] = (by_area, by_short_side)


def by_layers(item: Item) -> tuple[object, ...]:
    """Sort the tallest first, then the largest."""
    return (-item.layers, -item.shapes[0].area_um2, item.key)


def by_layers_longest(item: Item) -> tuple[object, ...]:
    """Sort the tallest first, then the longest side."""
    longest = min(max(shape.width_um, shape.depth_um) for shape in item.shapes)
    return (-item.layers, -longest, item.key)


ORDERS: tuple[Callable[[Item], tuple[object, ...]], ...] = (by_layers, by_layers_longest)


def pack(
    items: Sequence[Item],
    usable: Box,
    taken: Sequence[Box],
    gap_um: int,
    order: Callable[[Item], tuple[object, ...]],
    score: Score,
) -> list[OpenPlate]:
    """Return the plates that hold all `items`; `taken` boxes are kept free on every one of them.

    Every item must fit an empty plate (`fits_empty`); raises ValueError if one does not.
    """
    blank = _free_after(usable, taken, gap_um)
    plates: list[OpenPlate] = []
    for item in sorted(items, key=order):
        for plate in plates:
            if _put(plate, item, gap_um, score):
                break
        else:
            plates.append(OpenPlate(free=list(blank), turned_away=_turned_away(item, plates, gap_um)))
            if not _put(plates[-1], item, gap_um, score):
                raise ValueError(f"{item.key} does not fit an empty plate")
    return plates


def fits_empty(shapes: Sequence[ZoneShape], usable: Box, taken: Sequence[Box], gap_um: int) -> bool:
    """Tell whether one of `shapes` has room on a plate with nothing on it but `taken`."""
    return any(_fits(shape, box, gap_um) for box in _free_after(usable, taken, gap_um) for shape in shapes)


def _turned_away(item: Item, plates: Sequence[OpenPlate], gap_um: int) -> TurnedAway | None:
    if not plates:
        return None
    rooms = [(box.width - gap_um, box.depth - gap_um) for plate in plates for box in plate.free]
    room = max((one for one in rooms if min(one) > 0), key=lambda one: (one[0] * one[1], one), default=(0, 0))
    smallest = min(item.shapes, key=lambda shape: (shape.area_um2, shape.width_um))
    return TurnedAway(key=item.key, smallest_um=(smallest.width_um, smallest.depth_um), room_um=room)


def _put(plate: OpenPlate, item: Item, gap_um: int, score: Score) -> bool:
    best: tuple[tuple[int, ...], Box, ZoneShape] | None = None
    for shape in item.shapes:
        for box in plate.free:
            if _fits(shape, box, gap_um):
                spare = (box.width - shape.width_um - gap_um, box.depth - shape.depth_um - gap_um)
                mark = (*score(shape, *spare), box.y, box.x, shape.width_um)
                if best is None or mark < best[0]:
                    best = (mark, box, shape)
    if best is None:
        return False
    _, box, shape = best
    plate.spots.append(Spot(item=item, shape=shape, x_um=box.x, y_um=box.y))
    plate.free = _without(plate.free, Box(box.x, box.y, shape.width_um + gap_um, shape.depth_um + gap_um))
    return True


def _fits(shape: ZoneShape, box: Box, gap_um: int) -> bool:
    return shape.width_um + gap_um <= box.width and shape.depth_um + gap_um <= box.depth


def _free_after(usable: Box, taken: Sequence[Box], gap_um: int) -> list[Box]:
    """Return the free rectangles of a plate on which `taken` is kept."""
    free = [Box(usable.x, usable.y, usable.width + gap_um, usable.depth + gap_um)]
    for box in taken:
        free = _without(free, Box(box.x, box.y, box.width + gap_um, box.depth + gap_um))
    return free


def _without(free: list[Box], used: Box) -> list[Box]:
    """Split every free rectangle that meets `used` into what is left of it on each side."""
    right_edge, high_edge = used.x + used.width, used.y + used.depth
    parts: list[Box] = []
    for box in free:
        right, top = box.x + box.width, box.y + box.depth
        if box.x >= right_edge or right <= used.x or box.y >= high_edge or top <= used.y:
            parts.append(box)
            continue
        if box.x < used.x:
            parts.append(Box(box.x, box.y, used.x - box.x, box.depth))
        if right > right_edge:
            parts.append(Box(right_edge, box.y, right - right_edge, box.depth))
        if box.y < used.y:
            parts.append(Box(box.x, box.y, box.width, used.y - box.y))
        if top > high_edge:
            parts.append(Box(box.x, high_edge, box.width, top - high_edge))
    return _maximal(parts)


def _maximal(parts: list[Box]) -> list[Box]:
    """Drop every rectangle that lies within another, keep a fixed order."""
    kept: list[Box] = []
    for box in sorted(set(parts), key=lambda one: (-one.width * one.depth, one)):
        if not any(
            one.x <= box.x
            and one.y <= box.y
            and one.x + one.width >= box.x + box.width
            and one.y + one.depth >= box.y + box.depth
            for one in kept
        ):
            kept.append(box)
    return kept
