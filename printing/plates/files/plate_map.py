"""The plate map: what stands where on a plate, by code, in the order in which the zones are taken off."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dosewright.ground.pure.codes import raised_part
from printing.plates.files.figures import Circle, Drawing, Figure, Group, Pill, Polygon, Role, Stroke, Word
from printing.plates.files.svg import svg_text

HATCH_MM = 3.0
BADGE_MM = 2.6
LIST_MM = 62.0
ROW_MM = 5.2
TEXT_MM = 3.4
AROUND_MM = 9.0
SCALE_MM = 50.0


@dataclass(frozen=True, slots=True, kw_only=True)
class MapLabels:
    """The words of a map, given by whoever knows the reader's language."""

    title: str
    description: str
    order: str = "Order"
    zone: str = "Zone"
    units: str = "Units"
    test: str = "test zone"
    part: str = "part {part} of {parts}"
    count: str = "{count} units"
    scale: str = "{length} mm"


def plate_map_svg(plate: Mapping[str, Any], labels: MapLabels, *, url: Callable[[str], str] | None = None) -> str:
    """Return the map of one plate of a plan's record as SVG, for a page with a strict content policy.

    ``url`` gives the address of a zone by its code; then every zone is a link. No style is inline.
    """
    drawing = plate_map_figures(plate, labels)
    return svg_text(drawing, title=labels.title, description=labels.description, name=plate["batch"], url=url)


def plate_map_figures(plate: Mapping[str, Any], labels: MapLabels) -> Drawing:
    """Return the same map as plain figures [mm], for paper."""
    width, depth = (side / 1000 for side in plate["plate_um"])
    zones = sorted(plate["zones"], key=lambda zone: int(zone["removal"]))
    columns = -(-len(zones) // _rows(depth))
    groups = [Group(zone=None, caption=labels.title, figures=tuple(_plate(plate, labels)))]
    groups += [_zone(zone, place, width, depth, labels) for place, zone in enumerate(zones)]
    window = (-AROUND_MM, -2 * AROUND_MM, width + 2 * AROUND_MM + columns * LIST_MM, depth + 3 * AROUND_MM)
    return Drawing(window_mm=window, groups=tuple(groups))


def _rows(depth_mm: float) -> int:
    return max(1, int((depth_mm - ROW_MM) // ROW_MM))


def _plate(plate: Mapping[str, Any], labels: MapLabels) -> list[Figure]:
    width, depth = (side / 1000 for side in plate["plate_um"])
    edge = plate["gaps_um"]["edge"] / 1000
    return [
        Polygon(role="plate", corners_mm=_rectangle(0, 0, width, depth)),
        Polygon(role="usable", corners_mm=_rectangle(edge, edge, width - 2 * edge, depth - 2 * edge)),
        *_origin(),
        *_scale(min(SCALE_MM, width // 20 * 10), labels),
        *_headings(width, depth, len(plate["zones"]), labels),
    ]


def _origin() -> list[Figure]:
    return [
        Polygon(
            role="origin", corners_mm=((-1.5, -1.5), (6.0, -1.5), (6.0, -0.7), (-0.7, -0.7), (-0.7, 6.0), (-1.5, 6.0))
        ),
        Word(role="note", x_mm=-1.5, y_mm=-5.5, text="0, 0", size_mm=TEXT_MM),
    ]


def _scale(length: float, labels: MapLabels) -> list[Figure]:
    y, start = -11.0, 0.0
    bar: list[Figure] = [Stroke(role="scale", from_mm=(start, y), to_mm=(start + length, y))]
    for step in range(int(length // 10) + 1):
        x = start + step * 10
        tick = 2.0 if step % 5 == 0 else 1.2
        bar.append(Stroke(role="scale", from_mm=(x, y - tick / 2), to_mm=(x, y + tick / 2)))
    text = labels.scale.format(length=f"{length:g}")
    return [*bar, Word(role="note", x_mm=start + length + 2, y_mm=y - 1.2, text=text, size_mm=TEXT_MM)]


def _headings(width: float, depth: float, zones: int, labels: MapLabels) -> list[Figure]:
    found: list[Figure] = []
    for column in range(-(-zones // _rows(depth))):
        x, y = width + AROUND_MM + column * LIST_MM, depth - TEXT_MM
        for shift, text in ((0.0, labels.order), (12.0, labels.zone), (30.0, labels.units)):
            found.append(Word(role="heading", x_mm=x + shift, y_mm=y, text=text, size_mm=TEXT_MM))
    return found


def _zone(zone: Mapping[str, Any], place: int, width: float, depth: float, labels: MapLabels) -> Group:
    test = zone["test"] is not None
    corners = tuple((x / 1000, y / 1000) for x, y in zone["polygon_um"])
    code, count = raised_part(zone["code"]), labels.count.format(count=len(zone["units"]))
    figures: list[Figure] = [Polygon(role="test-raft" if test else "raft", corners_mm=corners)]
    if test:
        figures += _hatch(corners)
    figures += [_unit(zone, unit, test) for unit in zone["units"]]
    figures += _tab(zone, code) + _badge(corners, zone["removal"])
    column, row = divmod(place, _rows(depth))
    spot = (width + AROUND_MM + column * LIST_MM, depth - TEXT_MM - (row + 1) * ROW_MM)
    figures += _list_row(zone, spot, code, labels)
    notes = [labels.test] if test else []
    if zone["part"][1] > 1:
        notes.append(labels.part.format(part=zone["part"][0], parts=zone["part"][1]))
    return Group(
        zone=zone["code"],
        caption=", ".join([f"{zone['removal']}: {zone['code']}", count, *notes]),
        figures=tuple(figures),
    )


def _list_row(zone: Mapping[str, Any], spot: tuple[float, float], code: str, labels: MapLabels) -> list[Figure]:
    x, y = spot
    words = [(0.0, str(zone["removal"])), (12.0, code), (30.0, str(len(zone["units"])))]
    if zone["test"] is not None:
        words.append((38.0, labels.test))
    elif zone["part"][1] > 1:
        words.append((38.0, labels.part.format(part=zone["part"][0], parts=zone["part"][1])))
    return [Word(role="note", x_mm=x + shift, y_mm=y, text=text, size_mm=TEXT_MM) for shift, text in words]


def _unit(zone: Mapping[str, Any], unit: Mapping[str, Any], test: bool) -> Figure:
    role: Role = "test-unit" if test else "unit"
    x, y = unit["x_um"] / 1000, unit["y_um"] / 1000
    width, depth = (side / 1000 for side in unit["footprint_um"])
    if zone["outline"] == "round":
        return Circle(role=role, x_mm=x, y_mm=y, radius_mm=width / 2)
    rounding = min(width, depth) / 2 if zone["outline"] == "stadium" else 0.0
    return Pill(
        role=role,
        x_mm=x,
        y_mm=y,
        width_mm=width,
        depth_mm=depth,
        round_mm=rounding,
        rotation_deg=float(unit["rotation_deg"]),
    )


def _tab(zone: Mapping[str, Any], code: str) -> list[Figure]:
    x, y, width, depth = (value / 1000 for value in zone["tab_um"])
    turned = zone["tab_rotation_deg"] != 0
    size = min(width, depth) * 0.8
    middle, drop = (x + width / 2, y + depth / 2), size * 0.36
    spot = (middle[0] + drop, middle[1]) if turned else (middle[0], middle[1] - drop)
    return [
        Polygon(role="tab", corners_mm=_rectangle(x, y, width, depth)),
        Word(
            role="code",
            x_mm=spot[0],
            y_mm=spot[1],
            text=code,
            size_mm=size,
            anchor="middle",
            rotation_deg=float(zone["tab_rotation_deg"]),
        ),
    ]


def _badge(corners: Sequence[tuple[float, float]], removal: int) -> list[Figure]:
    """Return the number in the order of removal, on the zone's upper left corner."""
    x, y = min(corner[0] for corner in corners), max(corner[1] for corner in corners)
    return [
        Circle(role="badge", x_mm=x, y_mm=y, radius_mm=BADGE_MM),
        Word(role="badge-text", x_mm=x, y_mm=y - TEXT_MM * 0.36, text=str(removal), size_mm=TEXT_MM, anchor="middle"),
    ]


def _hatch(corners: Sequence[tuple[float, float]]) -> list[Figure]:
    """Return lines at 45 degrees, cut off at the sides of a convex polygon."""
    sums = [x + y for x, y in corners]
    found: list[Figure] = []
    level = (min(sums) // HATCH_MM + 1) * HATCH_MM
    while level < max(sums):
        ends = sorted(set(_crossings(corners, level)))
        if len(ends) >= 2:
            found.append(Stroke(role="hatch", from_mm=ends[0], to_mm=ends[-1]))
        level += HATCH_MM
    return found


def _crossings(corners: Sequence[tuple[float, float]], level: float) -> list[tuple[float, float]]:
    """Return where the line x + y = level meets the polygon's sides."""
    found = []
    for (x0, y0), (x1, y1) in zip(corners, [*corners[1:], corners[0]], strict=True):
        before, after = x0 + y0 - level, x1 + y1 - level
        if (before < 0) != (after < 0):
            part = before / (before - after)
            found.append((x0 + part * (x1 - x0), y0 + part * (y1 - y0)))
    return found


def _rectangle(x: float, y: float, width: float, depth: float) -> tuple[tuple[float, float], ...]:
    return ((x, y), (x + width, y), (x + width, y + depth), (x, y + depth))
