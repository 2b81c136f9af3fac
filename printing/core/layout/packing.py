"""Zones onto plates: first fit by descending height into lists of the largest free rectangles.

The free rectangles of a plate overlap each other and together cover all that is free (the "maximal
rectangles" way; Jylanki, "A thousand ways to pack the bin", 2010). A zone takes its size plus the zone gap,
and the plate is widened by one gap, so that gaps lie between zones only. Room for test zones is kept for the
lines that really stand on a plate: it is asked for anew with every zone that comes.
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
    """A zone to place: its aspects, the layers it costs, when it is due, and a key that settles ties.

    ``bucket`` counts the due days from the first; a later item rides on an earlier plate only for nothing.
    """

    key: tuple[str, int]
    shapes: tuple[ZoneShape, ...]
    layers: int
    bucket: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """An item's chosen aspect and lower left corner on its plate [um]."""

    item: Item
    shape: ZoneShape
    x_um: int
    y_um: int

    @property
    def box(self) -> Box:
        """Return the rectangle that the zone covers."""
        return Box(self.x_um, self.y_um, self.shape.width_um, self.shape.depth_um)


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnedAway:
    """Why a further plate was opened: the item, and the largest room left on the plates before [um]."""

    key: tuple[str, int]
    smallest_um: tuple[int, int]
    room_um: tuple[int, int]


@dataclass(slots=True, kw_only=True)
class OpenPlate:
    """A plate being filled: its free rectangles, room kept for tests, what stands on it, why it was opened."""

    free: list[Box]
    taken: tuple[Box, ...]
    turned_away: TurnedAway | None
    spots: list[Spot] = field(default_factory=list)
    beside: dict[tuple[Box, ...], list[Box]] = field(default_factory=dict)
    """Free rectangles beside other rooms for tests than those kept now, as long as no zone is added."""

    @property
    def layers(self) -> int:
        """Return the layers of its tallest zone."""
        return max((spot.item.layers for spot in self.spots), default=0)

    @property
    def bucket(self) -> int:
        """Return the due day of its most urgent zone."""
        return min(spot.item.bucket for spot in self.spots)


Keep = Callable[[Sequence[Item]], tuple[Box, ...] | None]
"""Says which rooms stay free for tests on a plate with these items, None where there is no room for them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """An empty plate as the packer sees it: the usable area, the gap between zones, the rooms kept for tests."""

    usable: Box
    gap_um: int
    keep: Keep


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
    return (item.bucket, -item.layers, -item.shapes[0].area_um2, item.key)


def by_layers_longest(item: Item) -> tuple[object, ...]:
    """Sort the tallest first, then the longest side."""
    longest = min(max(shape.width_um, shape.depth_um) for shape in item.shapes)
    return (item.bucket, -item.layers, -longest, item.key)


def by_steps_of_layers(item: Item) -> tuple[object, ...]:
    """Sort by height in steps of ten layers, the largest first within a step: few layers buy a fuller plate."""
    smallest = min(shape.area_um2 for shape in item.shapes)
    step = (item.layers + 9) // 10
    return (item.bucket, -step, -smallest, -item.layers, item.key)


ORDERS: tuple[Callable[[Item], tuple[object, ...]], ...] = (
    by_layers,
    by_layers_longest,
    by_steps_of_layers,
)


def pack(
    items: Sequence[Item], table: Table, order: Callable[[Item], tuple[object, ...]], score: Score
) -> list[OpenPlate]:
    """Return the plates that hold all `items`, each with the room that `table` keeps for its tests.

    Every item must fit an empty plate (`fits_empty`); raises ValueError if one does not.
    """
    plates: list[OpenPlate] = []
    for item in sorted(items, key=order):
        if any(_put(plate, item, table, score) for plate in plates):
            continue
        plates.append(OpenPlate(free=[], taken=(), turned_away=_turned_away(item, plates, table.gap_um)))
        if not _put(plates[-1], item, table, score):
            raise ValueError(f"{item.key} does not fit an empty plate")
    return plates


def _put(plate: OpenPlate, item: Item, table: Table, score: Score) -> bool:
    """Place `item` where `score` likes it best and return True, or leave the plate as it is and return False."""
    if plate.spots and item.bucket > plate.bucket and item.layers > plate.layers:
        return False
    taken = table.keep([*(spot.item for spot in plate.spots), item])
    if taken is None:
        return False
    if _too_full(plate, item, taken, table):
        return False
    free = _free_for(plate, taken, table)
    best = _best_place(free, item, table.gap_um, score)
    if best is None:
        return False
    box, shape = best
    plate.spots.append(Spot(item=item, shape=shape, x_um=box.x, y_um=box.y))
    plate.taken, plate.beside = taken, {}
    plate.free = _without(free, _grown(Box(box.x, box.y, shape.width_um, shape.depth_um), table.gap_um))
    return True


def fits_empty(shapes: Sequence[ZoneShape], item: Item, table: Table) -> bool:
    """Tell whether one of `shapes` has room on a plate with nothing on it but the tests that `item` asks for."""
    taken = table.keep([item])
    if taken is None:
        return False
    free = _free_beside(table, taken, ())
    return any(_fits(shape, box, table.gap_um) for box in free for shape in shapes)


def clear(box: Box, other: Box, gap: int) -> bool:
    """Tell whether two rectangles keep `gap` in one of the two directions."""
    return (
        box.x + box.width + gap <= other.x
        or other.x + other.width + gap <= box.x
        or box.y + box.depth + gap <= other.y
        or other.y + other.depth + gap <= box.y
    )


def _too_full(plate: OpenPlate, item: Item, taken: Sequence[Box], table: Table) -> bool:
    """Tell by area alone that no place can be found: every rectangle takes its size plus the gap."""
    gap = table.gap_um
    smallest = min((shape.width_um + gap) * (shape.depth_um + gap) for shape in item.shapes)
    used = sum((box.width + gap) * (box.depth + gap) for box in (*taken, *(spot.box for spot in plate.spots)))
    return used + smallest > (table.usable.width + gap) * (table.usable.depth + gap)


def _free_for(plate: OpenPlate, taken: tuple[Box, ...], table: Table) -> list[Box]:
    if plate.spots and taken == plate.taken:
        return plate.free
    if taken not in plate.beside:
        plate.beside[taken] = _free_beside(table, taken, plate.spots)
    return plate.beside[taken]


def _turned_away(item: Item, plates: Sequence[OpenPlate], gap_um: int) -> TurnedAway | None:
    if not plates:
        return None
    rooms = [(box.width - gap_um, box.depth - gap_um) for plate in plates for box in plate.free]
    room = max((one for one in rooms if min(one) > 0), key=lambda one: (one[0] * one[1], one), default=(0, 0))
    smallest = min(item.shapes, key=lambda shape: (shape.area_um2, shape.width_um))
    return TurnedAway(key=item.key, smallest_um=(smallest.width_um, smallest.depth_um), room_um=room)


def _best_place(free: Sequence[Box], item: Item, gap_um: int, score: Score) -> tuple[Box, ZoneShape] | None:
    best: tuple[tuple[int, ...], Box, ZoneShape] | None = None
    for shape in item.shapes:
        for box in free:
            if _fits(shape, box, gap_um):
                spare = (box.width - shape.width_um - gap_um, box.depth - shape.depth_um - gap_um)
                mark = (*score(shape, *spare), box.y, box.x, shape.width_um)
                if best is None or mark < best[0]:
                    best = (mark, box, shape)
    return None if best is None else best[1:]


def _fits(shape: ZoneShape, box: Box, gap_um: int) -> bool:
    return shape.width_um + gap_um <= box.width and shape.depth_um + gap_um <= box.depth


def _free_beside(table: Table, taken: Sequence[Box], spots: Sequence[Spot]) -> list[Box]:
    """Return the free rectangles beside tests and zones; none where a test's room has a zone on it already."""
    gap, boxes = table.gap_um, [spot.box for spot in spots]
    if not all(clear(one, other, gap) for one in taken for other in boxes):
        return []
    free = [_grown(table.usable, gap)]
    for box in (*taken, *boxes):
        free = _without(free, _grown(box, gap))
    return free


def _grown(box: Box, gap_um: int) -> Box:
    return Box(box.x, box.y, box.width + gap_um, box.depth + gap_um)


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
