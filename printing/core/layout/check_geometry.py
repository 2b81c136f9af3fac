"""Whether gaps, edges, rafts, tabs and contiguity hold on a plate, measured anew from positions alone."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import cos, radians, sin
from typing import Any

from printing.core.layout.expected import ExpectedPlan, ExpectedPrinter, Finding

SLACK_UM = 0.01
"""Room for floating point in exact distances of whole micrometres."""

NEIGHBOUR_FRAC = 0.4
"""Units of a zone are neighbours when their free gap is at most the unit gap + 0.4 (r1 + r2) (design rule)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Footprint:
    """A unit seen from above: a shapely core with a radius around it [um], and half its least width."""

    zone: int
    code: str
    core: Any
    radius_um: float
    half_width_um: float
    round: bool


def check_geometry(plate: Mapping[str, Any], expected: ExpectedPlan) -> list[Finding]:
    """Return every broken distance rule of one plate; none where its printer is unknown, which `check_plate` says."""
    from shapely import Polygon

    printer = expected.printer(plate["printer"])
    if printer is None:
        return []
    zones = plate["zones"]
    hulls = [Polygon(zone["polygon_um"]) for zone in zones]
    found = [one for zone, hull in zip(zones, hulls, strict=True) for one in _hull(zone, hull, printer, expected)]
    if found:
        return found
    prints = [_footprint(place, zone, unit) for place, zone in enumerate(zones) for unit in zone["units"]]
    found += _zone_gaps(zones, hulls, expected)
    found += _unit_gaps(prints, expected)
    for place, (zone, hull) in enumerate(zip(zones, hulls, strict=True)):
        mine = [one for one in prints if one.zone == place]
        found += _on_raft(zone, hull, mine, expected) + _tab(zone, hull, mine, expected)
        found += _contiguous(zone, mine, expected)
    return found


def _hull(zone: Mapping[str, Any], hull: Any, printer: ExpectedPrinter, expected: ExpectedPlan) -> list[Finding]:
    if not hull.is_valid or hull.area <= 0 or not _is_convex(zone["polygon_um"]):
        return [Finding(rule="convex", where=zone["code"], message="the zone's outline is not a convex polygon")]
    edge, (width, depth) = expected.edge_um, printer.plate_um
    low_x, low_y, high_x, high_y = hull.bounds
    nearest = min(low_x, low_y, width - high_x, depth - high_y)
    if nearest < edge:
        return [
            Finding(
                rule="edge",
                where=zone["code"],
                message="too near the plate's edge",
                value=f"{nearest:.0f}",
                limit=str(edge),
            )
        ]
    return []


def _is_convex(corners: Sequence[Sequence[int]]) -> bool:
    """Tell whether all turns go to the left, in whole numbers."""
    count = len(corners)
    for place in range(count):
        a, b, c = (corners[(place + step) % count] for step in range(3))
        if (b[0] - a[0]) * (c[1] - b[1]) - (b[1] - a[1]) * (c[0] - b[0]) <= 0:
            return False
    return True


def _footprint(place: int, zone: Mapping[str, Any], unit: Mapping[str, Any]) -> Footprint:
    from shapely import LineString, Point, Polygon

    x, y, (width, depth) = unit["x_um"], unit["y_um"], unit["footprint_um"]
    angle = radians(unit["rotation_deg"] % 360)
    along, across = (cos(angle), sin(angle)), (-sin(angle), cos(angle))
    half, short = max(width, depth) / 2, min(width, depth) / 2
    radius = 0.0
    if zone["outline"] == "round" or (zone["outline"] == "stadium" and width == depth):
        core, radius = Point(x, y), half
    elif zone["outline"] == "stadium":
        way, reach = (along if width > depth else across), half - short
        core, radius = LineString([(x + k * reach * way[0], y + k * reach * way[1]) for k in (-1, 1)]), short
    else:
        core = Polygon(
            [
                (
                    x + p * width / 2 * along[0] + q * depth / 2 * across[0],
                    y + p * width / 2 * along[1] + q * depth / 2 * across[1],
                )
                for p, q in ((-1, -1), (1, -1), (1, 1), (-1, 1))
            ]
        )
    return Footprint(
        zone=place,
        code=unit["code"],
        core=core,
        radius_um=radius,
        half_width_um=short,
        round=zone["outline"] == "round",
    )


def _zone_gaps(zones: Sequence[Mapping[str, Any]], hulls: Sequence[Any], expected: ExpectedPlan) -> list[Finding]:
    found = []
    for place, hull in enumerate(hulls):
        for other in range(place):
            gap = hull.distance(hulls[other])
            if gap < expected.zone_gap_um - SLACK_UM:
                found.append(
                    Finding(
                        rule="zone-gap",
                        where=zones[place]["code"],
                        value=f"{gap:.1f}",
                        message=f"too near zone {zones[other]['code']}",
                        limit=str(expected.zone_gap_um),
                    )
                )
    return found


def _pairs(prints: Sequence[Footprint], gap_um: float) -> list[tuple[int, int]]:
    """Return pairs of units that may be nearer than `gap_um`: KD-tree for round ones, an R-tree for others."""
    if len(prints) < 2:
        return []
    if all(one.round for one in prints):
        from scipy.spatial import cKDTree

        tree = cKDTree([(one.core.x, one.core.y) for one in prints])
        reach = 2 * max(one.radius_um for one in prints) + gap_um
        return sorted((int(a), int(b)) for a, b in tree.query_pairs(reach))
    from shapely import STRtree, box

    boxes = [_grown(one, gap_um / 2, box) for one in prints]
    hits = STRtree(boxes).query(boxes)
    return sorted((int(a), int(b)) for a, b in hits.T if a < b)


def _grown(one: Footprint, by: float, box: Any) -> Any:
    low_x, low_y, high_x, high_y = one.core.bounds
    grow = one.radius_um + by
    return box(low_x - grow, low_y - grow, high_x + grow, high_y + grow)


def _free_gap(one: Footprint, other: Footprint) -> float:
    return float(one.core.distance(other.core)) - one.radius_um - other.radius_um


def _unit_gaps(prints: Sequence[Footprint], expected: ExpectedPlan) -> list[Finding]:
    found = []
    for a, b in _pairs(prints, expected.unit_gap_um):
        gap = _free_gap(prints[a], prints[b])
        if gap < expected.unit_gap_um - SLACK_UM:
            found.append(
                Finding(
                    rule="unit-gap",
                    where=prints[a].code,
                    message=f"too near unit {prints[b].code}",
                    value=f"{gap:.1f}",
                    limit=str(expected.unit_gap_um),
                )
            )
    return found


def _on_raft(zone: Mapping[str, Any], hull: Any, prints: Sequence[Footprint], expected: ExpectedPlan) -> list[Finding]:
    found = []
    for one in prints:
        border = float(hull.exterior.distance(one.core)) - one.radius_um if hull.covers(one.core) else -1.0
        if border < expected.border_um - SLACK_UM:
            found.append(
                Finding(
                    rule="raft",
                    where=one.code,
                    message=f"zone {zone['code']}'s raft does not carry it",
                    value=f"{border:.1f}",
                    limit=str(expected.border_um),
                )
            )
    return found


def _tab(zone: Mapping[str, Any], hull: Any, prints: Sequence[Footprint], expected: ExpectedPlan) -> list[Finding]:
    from shapely import box

    x, y, width, depth = zone["tab_um"]
    found = []
    if sorted((width, depth)) != sorted(expected.tab_um) or not hull.covers(box(x, y, x + width, y + depth)):
        found.append(Finding(rule="tab", where=zone["code"], message="the code tab is not of its size inside the zone"))
    if (width > depth) != (zone["tab_rotation_deg"] == 0):
        found.append(Finding(rule="tab", where=zone["code"], message="the code does not run along its tab"))
    tab, least = box(x, y, x + width, y + depth), expected.tab_gap_um
    for one in prints:
        gap = float(tab.distance(one.core)) - one.radius_um
        if gap < least - SLACK_UM or gap <= 0:
            found.append(
                Finding(
                    rule="tab",
                    where=one.code,
                    message="stands on or too near the code tab",
                    value=f"{gap:.1f}",
                    limit=str(least),
                )
            )
    return found


def _contiguous(zone: Mapping[str, Any], prints: Sequence[Footprint], expected: ExpectedPlan) -> list[Finding]:
    """Return a finding unless every unit can be reached from the first over neighbours."""
    if not prints:
        return []
    widest = max(one.half_width_um for one in prints)
    reach = expected.unit_gap_um + NEIGHBOUR_FRAC * 2 * widest + SLACK_UM
    linked: dict[int, set[int]] = {place: set() for place in range(len(prints))}
    for a, b in _pairs(prints, reach):
        limit = expected.unit_gap_um + NEIGHBOUR_FRAC * (prints[a].half_width_um + prints[b].half_width_um)
        if _free_gap(prints[a], prints[b]) <= limit + SLACK_UM:
            linked[a].add(b)
            linked[b].add(a)
    seen, ahead = {0}, [0]
    while ahead:
        fresh = linked[ahead.pop()] - seen
        seen |= fresh
        ahead += sorted(fresh)
    if len(seen) < len(prints):
        return [
            Finding(
                rule="contiguous",
                where=zone["code"],
                message="the zone falls into separate groups of units",
                value=str(len(seen)),
                limit=str(len(prints)),
            )
        ]
    return []
