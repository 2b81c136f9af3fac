"""The planner: lines into groups, groups onto plates, plates with test zones, codes, time, resin and reasons.

First fit by descending height with several orders and scores; the best is kept by controllable time, then
plates, then the earlier try. Budgets are counts of tries, never seconds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from dosewright.ground.pure.errors import BadInput, Blocked
from printing.core.layout.batching import Group, extreme_line, group_lines
from printing.core.layout.bound import group_bound
from printing.core.layout.cost import line_necks, plate_layers, plate_resin, plate_time
from printing.core.layout.naming import with_codes
from printing.core.layout.packing import ORDERS, SCORES, Box, Item, OpenPlate, TurnedAway, fits_empty, pack
from printing.core.layout.plan_types import Plan, PlannedGroup, PlannedPlate, PlannedUnit, PlannedZone
from printing.core.layout.reasons import plate_reasons
from printing.core.layout.request import PlacedLine, PlanRequest, TestSpot, check_request
from printing.core.layout.zones import ZoneRules, ZoneShape, all_shapes, offered_shapes, plain_columns, plain_shape


@dataclass(frozen=True, slots=True, kw_only=True)
class _Draft:
    """A plate before it has codes: its group, its zones in the order of removal, why it was opened."""

    group: Group
    zones: list[PlannedZone]
    turned_away: TurnedAway | None


def make_plan(request: PlanRequest) -> Plan:
    """Return the plan for `request`.

    Raises BadInput for a request that cannot be planned as it stands (too large a unit, too few codes, gaps
    under the least), Blocked when a resin lot does not hold enough.
    """
    check_request(request)
    groups = group_lines(request.lines)
    drafts = [draft for group in groups for draft in _group_plates(group, request)]
    drafts.sort(key=_urgency)
    if len(drafts) > len(request.batch_codes):
        raise BadInput.because(
            "batch_codes", "too few batch codes", value=str(len(request.batch_codes)), limit=str(len(drafts))
        )
    coded = with_codes([draft.zones for draft in drafts], request)
    plates = tuple(
        _finished(draft, zones, batch, request)
        for draft, zones, batch in zip(drafts, coded, request.batch_codes, strict=False)
    )
    _check_lots(plates, request)
    return Plan(request=request, plates=plates, groups=tuple(_group_cost(g, plates, request) for g in groups))


def zone_rules(request: PlanRequest) -> ZoneRules:
    """Return what the shape of a zone depends on."""
    raft = request.raft
    return ZoneRules(
        unit_gap_um=request.plate.unit_gap_um, border_um=raft.border_um, tab_um=raft.tab_um, tab_gap_um=raft.tab_gap_um
    )


def _group_plates(group: Group, request: PlanRequest) -> list[_Draft]:
    """Return the plates of one group without codes.

    Every number of columns for the test zones is tried with every order and score.
    """
    best = min(_tries(group, request), key=lambda one: one.mark)
    by_code = {line.code: line for line in group.lines}
    return [
        _Draft(group=group, zones=_zones(plate, best, by_code, request), turned_away=plate.turned_away)
        for plate in best.plates
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Try:
    """One packing of a group and how it is judged: controllable time, plates, zones, number of the try."""

    mark: tuple[float, int, int, int]
    columns: tuple[int, ...]
    taken: tuple[Box, ...]
    plates: list[OpenPlate]


def _tries(group: Group, request: PlanRequest) -> list[_Try]:
    found: list[_Try] = []
    refused: list[BadInput] = []
    for columns in _test_columns(request):
        try:
            taken = _test_boxes(group, columns, request)
            items = [item for line in group.lines for item in _items(line, taken, request)]
        except BadInput as problem:
            refused.append(problem)
            continue
        for order in ORDERS:
            for score in SCORES:
                plates = pack(items, _usable(request), taken, request.plate.zone_gap_um, order, score)
                mark = (_controllable(plates, request), len(plates), len(items), len(found))
                found.append(_Try(mark=mark, columns=columns, taken=taken, plates=plates))
    if not found:
        raise refused[0]
    return found


def _test_columns(request: PlanRequest) -> list[tuple[int, ...]]:
    """Return the columns of each test zone to try: all zones in the same manner, at most three manners."""
    choices = [plain_columns(spot.units) for spot in request.tests]
    manners = [tuple(choice[min(manner, len(choice) - 1)] for choice in choices) for manner in range(3)]
    return sorted(set(manners))


def _controllable(plates: Sequence[OpenPlate], request: PlanRequest) -> float:
    layers = sum(max(spot.item.layers for spot in plate.spots) for plate in plates)
    return len(plates) * request.time.setup_s + layers * request.time.layer_s


def _usable(request: PlanRequest) -> Box:
    edge = request.plate.edge_um
    width, depth = request.plate.plate_um
    return Box(edge, edge, width - 2 * edge, depth - 2 * edge)


def _items(line: PlacedLine, taken: Sequence[Box], request: PlanRequest) -> list[Item]:
    """Return the line as one item, or as the fewest equal parts that each fit an empty plate."""
    rules, gap = zone_rules(request), request.plate.zone_gap_um
    for parts in range(1, line.units + 1):
        sizes = [line.units // parts + (part < line.units % parts) for part in range(parts)]
        shapes = all_shapes(line.outline, line.footprint_um, sizes[0], rules)
        if fits_empty(shapes, _usable(request), taken, gap):
            return [
                Item(key=(line.code, part), layers=line.layers, shapes=_fitting(line, size, taken, request))
                for part, size in enumerate(sizes)
            ]
    raise BadInput.because(
        f"lines.{line.code}.footprint_um",
        "one unit on its raft does not fit the plate",
        value=str(line.footprint_um),
        limit=str(request.plate.plate_um),
        unit="um",
    )


def _fitting(line: PlacedLine, units: int, taken: Sequence[Box], request: PlanRequest) -> tuple[ZoneShape, ...]:
    """Return the offered aspects that fit an empty plate, or all that do where none of those does."""
    rules, usable, gap = zone_rules(request), _usable(request), request.plate.zone_gap_um
    for choose in (offered_shapes, all_shapes):
        shapes = choose(line.outline, line.footprint_um, units, rules)
        fitting = tuple(shape for shape in shapes if fits_empty([shape], usable, taken, gap))
        if fitting:
            return fitting
    raise BadInput.because(f"lines.{line.code}", "a part of the line does not fit the plate", value=str(units))


def _test_boxes(group: Group, columns: Sequence[int], request: PlanRequest) -> tuple[Box, ...]:
    """Return the room kept for test zones: enough for any line of the group, at the place the test plan names."""
    footprint = (max(line.footprint_um[0] for line in group.lines), max(line.footprint_um[1] for line in group.lines))
    boxes = []
    for spot, across in zip(request.tests, columns, strict=True):
        shape = plain_shape(footprint, spot.units, across, zone_rules(request))
        boxes.append(_anchored(_usable(request), spot, shape))
    gap, usable = request.plate.zone_gap_um, _usable(request)
    for place, box in enumerate(boxes):
        if not _inside(box, usable) or any(not _clear(box, other, gap) for other in boxes[:place]):
            raise BadInput.because("tests", "the test zones do not fit the plate", value=request.tests[place].where)
    return tuple(boxes)


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


def _clear(box: Box, other: Box, gap: int) -> bool:
    return (
        box.x + box.width + gap <= other.x
        or other.x + other.width + gap <= box.x
        or box.y + box.depth + gap <= other.y
        or other.y + other.depth + gap <= box.y
    )


def _zones(plate: OpenPlate, chosen: _Try, by_code: dict[str, PlacedLine], request: PlanRequest) -> list[PlannedZone]:
    zones = []
    for spot in plate.spots:
        code, part = spot.item.key
        zones.append(_zone(by_code[code], None, part, spot.shape, (spot.x_um, spot.y_um)))
    lines = [zone.line for zone in zones]
    for test, across, room in zip(request.tests, chosen.columns, chosen.taken, strict=True):
        line = extreme_line(lines, test.which)
        shape = plain_shape(line.footprint_um, test.units, across, zone_rules(request))
        box = _anchored(room, test, shape)
        zones.append(_zone(line, test, 0, shape, (box.x, box.y)))
    return sorted(zones, key=lambda zone: (zone.polygon_um[0][1], zone.polygon_um[0][0]))


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


def _urgency(draft: _Draft) -> tuple[object, ...]:
    zones = draft.zones
    due = _ready_by(zones)
    first = min((zone.line.code, zone.part[0]) for zone in zones if zone.test is None)
    return (due is None, due.timestamp() if due else 0.0, draft.group.key, -max(z.line.layers for z in zones), first)


def _ready_by(zones: Sequence[PlannedZone]) -> datetime | None:
    return min((zone.line.ready_by for zone in zones if zone.test is None and zone.line.ready_by), default=None)


def _finished(draft: _Draft, zones: tuple[PlannedZone, ...], batch: str, request: PlanRequest) -> PlannedPlate:
    layers, base = plate_layers(zones, request.raft)
    tallest = min((zone.line for zone in zones), key=lambda line: (-line.layers, line.code))
    return PlannedPlate(
        batch=batch,
        key=draft.group.key,
        zones=zones,
        layers=layers,
        base_layers=base,
        seconds=plate_time(zones, request.raft, request.time).whole(),
        resin=plate_resin(zones, request.raft, request.resin),
        tallest=tallest.code,
        ready_by=_ready_by(zones),
        why=plate_reasons(zones, tallest, draft.turned_away, request),
    )


def _check_lots(plates: Sequence[PlannedPlate], request: PlanRequest) -> None:
    """Refuse when the plates of a lot use more than it holds; the tank minimum is needed once."""
    for lot in sorted(request.lot_available_ul):
        mine = [plate.resin for plate in plates if plate.key.lot == lot]
        need = sum(resin.used_ul for resin in mine) + (mine[0].tank_minimum_ul if mine else 0)
        if need > request.lot_available_ul[lot]:
            raise Blocked.because(
                f"lots.{lot}",
                "the resin lot does not hold enough for this plan",
                value=str(request.lot_available_ul[lot]),
                limit=str(need),
                unit="uL",
            )


def _group_cost(group: Group, plates: Sequence[PlannedPlate], request: PlanRequest) -> PlannedGroup:
    mine = [plate for plate in plates if plate.key == group.key]
    bound = group_bound(group.lines, request.plate, request.raft, request.time)
    scanned = sum(plate.seconds["raster"] + plate.seconds["contour"] for plate in mine)
    controllable = sum(plate.seconds["setup"] + plate.seconds["layers"] for plate in mine)
    bound_s = math.floor(bound.controllable_s)
    return PlannedGroup(
        key=group.key,
        plates=len(mine),
        bound_plates=bound.plates,
        controllable_s=controllable,
        bound_controllable_s=bound_s,
        total_s=controllable + scanned,
        bound_total_s=bound_s + scanned,
    )
