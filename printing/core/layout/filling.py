"""One group of lines onto as many plates as it takes: several orders, scores and manners of test zones, best kept.

Budgets are counts of tries, never seconds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from dosewright.ground.pure.errors import BadInput
from printing.core.layout.batching import Group, extreme_line
from printing.core.layout.cost import line_necks
from printing.core.layout.packing import (
    ORDERS,
    SCORES,
    Box,
    Item,
    Keep,
    OpenPlate,
    Table,
    TurnedAway,
    clear,
    fits_empty,
    pack,
)
from printing.core.layout.plan_types import PlannedUnit, PlannedZone
from printing.core.layout.request import PlacedLine, PlanRequest, TestSpot
from printing.core.layout.zones import ZoneRules, ZoneShape, all_shapes, offered_shapes, shape_of_test

MANNERS = 3
"""Test zones are tried as compact, as narrow and as shallow as they can be."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """A plate before it has codes: its group, what was asked, its zones in the order of removal, why it was opened."""

    group: Group
    asked: PlanRequest
    zones: tuple[PlannedZone, ...]
    turned_away: TurnedAway | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TestPlace:
    """Where one entry of the test plan stands on a plate, and whose geometry its units have."""

    __test__ = False

    spot: TestSpot
    line: PlacedLine
    shape: ZoneShape
    box: Box


@dataclass(frozen=True, slots=True, kw_only=True)
class _Try:
    """One packing of a group and how it is judged: controllable time, plates, zones, number of the try."""

    mark: tuple[float, int, int, int]
    manner: int
    plates: list[OpenPlate]


def fill_plates(group: Group, asked: PlanRequest, buckets: Mapping[str, int] | None = None) -> tuple[Draft, ...]:
    """Return the plates of one group without codes.

    ``buckets`` says for each line on which due day it is wanted, counted from the first; without it the plan is
    blind to due times. Raises BadInput for a unit or test zones that do not fit an empty plate.
    """
    best = min(_tries(group, asked, buckets or {}), key=lambda one: one.mark)
    by_code = {line.code: line for line in group.lines}
    return tuple(
        Draft(
            group=group,
            asked=asked,
            zones=_zones(plate, best.manner, by_code, asked),
            turned_away=plate.turned_away,
        )
        for plate in best.plates
    )


def zone_rules(asked: PlanRequest) -> ZoneRules:
    """Return what the shape of a zone depends on."""
    raft = asked.raft
    return ZoneRules(
        unit_gap_um=asked.plate.unit_gap_um, border_um=raft.border_um, tab_um=raft.tab_um, tab_gap_um=raft.tab_gap_um
    )


def _tries(group: Group, asked: PlanRequest, buckets: Mapping[str, int]) -> list[_Try]:
    found: list[_Try] = []
    refused: list[BadInput] = []
    for manner in range(MANNERS if asked.tests else 1):
        table = _table(group, manner, asked)
        try:
            items = [item for line in group.lines for item in _items(line, table, asked, buckets.get(line.code, 0))]
        except BadInput as problem:
            refused.append(problem)
            continue
        for order in ORDERS:
            for score in SCORES:
                plates = pack(items, table, order, score)
                found.append(_Try(mark=(*_cost(plates, asked), len(items), len(found)), manner=manner, plates=plates))
    if not found:
        raise refused[0]
    return found


def _cost(plates: Sequence[OpenPlate], asked: PlanRequest) -> tuple[float, int]:
    layers = sum(plate.layers for plate in plates)
    return len(plates) * asked.time.setup_s + layers * asked.time.layer_s, len(plates)


def _table(group: Group, manner: int, asked: PlanRequest) -> Table:
    edge = asked.plate.edge_um
    width, depth = asked.plate.plate_um
    usable = Box(edge, edge, width - 2 * edge, depth - 2 * edge)
    return Table(usable=usable, gap_um=asked.plate.zone_gap_um, keep=_keeper(group, manner, usable, asked))


def _keeper(group: Group, manner: int, usable: Box, asked: PlanRequest) -> Keep:
    by_code = {line.code: line for line in group.lines}
    known: dict[tuple[str, ...], tuple[Box, ...] | None] = {}

    def keep(items: Sequence[Item]) -> tuple[Box, ...] | None:
        lines = [by_code[item.key[0]] for item in items]
        key = tuple(extreme_line(lines, spot.which).code for spot in asked.tests)
        if key not in known:
            places = places_of_tests(lines, manner, usable, asked)
            known[key] = None if places is None else tuple(place.box for place in places)
        return known[key]

    return keep


def places_of_tests(
    lines: Sequence[PlacedLine], manner: int, usable: Box, asked: PlanRequest
) -> tuple[TestPlace, ...] | None:
    """Return where the test zones of a plate with these lines stand, None where they have no room beside each other."""
    places = []
    for spot in asked.tests:
        line = extreme_line(lines, spot.which)
        shape = shape_of_test(line.outline, line.footprint_um, spot.units, zone_rules(asked), manner)
        places.append(TestPlace(spot=spot, line=line, shape=shape, box=_anchored(usable, spot, shape)))
    boxes = [place.box for place in places]
    apart = all(clear(a, b, asked.plate.zone_gap_um) for k, a in enumerate(boxes) for b in boxes[:k])
    return tuple(places) if apart and all(_inside(box, usable) for box in boxes) else None


def _items(line: PlacedLine, table: Table, asked: PlanRequest, bucket: int) -> list[Item]:
    """Return the line as one item, or as the fewest equal parts that each fit an empty plate."""
    rules = zone_rules(asked)
    bare = Item(key=(line.code, 0), shapes=(), layers=line.layers)
    _refuse_too_large(line, table, asked)
    if table.keep([bare]) is None:
        raise BadInput.because(
            "tests", "the test zones do not fit the plate beside each other", value=line.code, rule="test-plan"
        )
    for parts in range(1, line.units + 1):
        sizes = [line.units // parts + (part < line.units % parts) for part in range(parts)]
        if fits_empty(all_shapes(line.outline, line.footprint_um, sizes[0], rules), bare, table):
            return [
                Item(
                    key=(line.code, part),
                    layers=line.layers,
                    bucket=bucket,
                    shapes=_fitting(line, size, bare, table, rules),
                )
                for part, size in enumerate(sizes)
            ]
    raise BadInput.because("tests", "no unit fits the plate beside the test zones", value=line.code, rule="test-plan")


def _refuse_too_large(line: PlacedLine, table: Table, asked: PlanRequest) -> None:
    single = all_shapes(line.outline, line.footprint_um, 1, zone_rules(asked))
    if not any(one.width_um <= table.usable.width and one.depth_um <= table.usable.depth for one in single):
        raise BadInput.because(
            f"lines.{line.code}.footprint_um",
            "one unit on its raft does not fit the plate",
            value=str(line.footprint_um),
            limit=str(asked.plate.plate_um),
            unit="um",
        )


def _fitting(line: PlacedLine, units: int, bare: Item, table: Table, rules: ZoneRules) -> tuple[ZoneShape, ...]:
    """Return the offered aspects that fit an empty plate, or all that do where none of those does."""
    for choose in (offered_shapes, all_shapes):
        shapes = choose(line.outline, line.footprint_um, units, rules)
        fitting = tuple(shape for shape in shapes if fits_empty([shape], bare, table))
        if fitting:
            return fitting
    raise BadInput.because(f"lines.{line.code}", "a part of the line does not fit the plate", value=str(units))


def _anchored(room: Box, spot: TestSpot, shape: ZoneShape) -> Box:
    spare_x, spare_y = room.width - shape.width_um, room.depth - shape.depth_um
    if spot.where == "corner":
        shift = (0, 0)
    elif spot.where == "centre":
        shift = (spare_x // 2, spare_y // 2)
    else:
        shift = (spare_x, spare_y)
    return Box(room.x + shift[0], room.y + shift[1], shape.width_um, shape.depth_um)


def _inside(box: Box, room: Box) -> bool:
    return (
        box.x >= room.x
        and box.y >= room.y
        and box.x + box.width <= room.x + room.width
        and box.y + box.depth <= room.y + room.depth
    )


def _zones(
    plate: OpenPlate, manner: int, by_code: Mapping[str, PlacedLine], asked: PlanRequest
) -> tuple[PlannedZone, ...]:
    zones = []
    for spot in plate.spots:
        code, part = spot.item.key
        zones.append(_zone(by_code[code], None, part, spot.shape, (spot.x_um, spot.y_um)))
    edge = asked.plate.edge_um
    usable = Box(edge, edge, *(side - 2 * edge for side in asked.plate.plate_um))
    for place in places_of_tests([zone.line for zone in zones], manner, usable, asked) or ():
        zones.append(_zone(place.line, place.spot, 0, place.shape, (place.box.x, place.box.y)))
    return tuple(sorted(zones, key=lambda zone: (zone.polygon_um[0][1], zone.polygon_um[0][0])))


def _zone(line: PlacedLine, test: TestSpot | None, part: int, shape: ZoneShape, corner: tuple[int, int]) -> PlannedZone:
    """Place `shape` with its lower left corner at `corner`; codes follow, `part` holds the part's index."""
    left, low = corner
    return PlannedZone(
        line=line,
        test=test,
        code="",
        part=(part, 0),
        polygon_um=tuple((x + left, y + low) for x, y in shape.polygon_um),
        tab_um=(shape.tab_um[0] + left, shape.tab_um[1] + low, shape.tab_um[2], shape.tab_um[3]),
        tab_rotation_deg=shape.tab_rotation_deg,
        necks=line_necks(line),
        units=tuple(
            PlannedUnit(code="", x_um=x + left, y_um=y + low, rotation_deg=shape.rotation_deg)
            for x, y in shape.centres_um
        ),
    )
