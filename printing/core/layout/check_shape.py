"""Whether a plan's record has all its parts with their types, before anything is concluded from it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from printing.core.layout.expected import Finding

PLATE = {
    "batch": str,
    "printer": str,
    "formulation": str,
    "lot": str,
    "profile": str,
    "layer_um": int,
    "mount": str,
    "layers": int,
    "base_layers": int,
    "seconds": Mapping,
    "resin_ul": int,
    "plate_um": list,
    "zones": list,
    "gaps_um": Mapping,
    "raft": Mapping,
    "build_height_um": int,
}
ZONE = {
    "geometry_of": str,
    "code": str,
    "part": list,
    "removal": int,
    "layers": int,
    "height_um": int,
    "outline": str,
    "polygon_um": list,
    "tab_um": list,
    "tab_rotation_deg": int,
    "units": list,
}
UNIT = {"code": str, "x_um": int, "y_um": int, "rotation_deg": int, "orientation": str, "footprint_um": list}
LISTS = {"plate_um": 2, "part": 2, "tab_um": 4, "footprint_um": 2}


def check_shape(record: Mapping[str, Any]) -> list[Finding]:
    """Return what is missing or of another type in plates, zones and units."""
    plates = record.get("plates")
    if not isinstance(plates, list) or not plates:
        return [_finding("plates", "a plan has a list of plates")]
    found: list[Finding] = []
    for place, plate in enumerate(plates):
        where = f"plates[{place}]"
        found += _typed(plate, PLATE, where)
        for number, zone in enumerate(_list(plate, "zones")):
            spot = f"{where}.zones[{number}]"
            found += _typed(zone, ZONE, spot) + _zone_extras(zone, spot)
            for one, unit in enumerate(_list(zone, "units")):
                found += _typed(unit, UNIT, f"{spot}.units[{one}]")
    return found


def _zone_extras(zone: Any, where: str) -> list[Finding]:
    if not isinstance(zone, Mapping):
        return []
    found = []
    line, test = zone.get("line"), zone.get("test")
    if not ((isinstance(line, str) and test is None) or (line is None and isinstance(test, Mapping))):
        found.append(_finding(where, "a zone is either a dose line's or a test zone"))
    if not _list(zone, "units"):
        found.append(_finding(where, "a zone has at least one unit"))
    corners = _list(zone, "polygon_um")
    if len(corners) < 3 or not all(_whole_numbers(corner, 2) for corner in corners):
        found.append(_finding(f"{where}.polygon_um", "three or more corners in whole micrometres"))
    return found


def _typed(thing: Any, wanted: Mapping[str, type], where: str) -> list[Finding]:
    if not isinstance(thing, Mapping):
        return [_finding(where, "not a mapping")]
    found = []
    for name, kind in wanted.items():
        value = thing.get(name)
        if not isinstance(value, kind) or isinstance(value, bool):
            found.append(_finding(f"{where}.{name}", "missing or of another type"))
        elif name in LISTS and not _whole_numbers(value, LISTS[name]):
            found.append(_finding(f"{where}.{name}", f"not {LISTS[name]} whole numbers"))
    return found


def _whole_numbers(value: Any, count: int) -> bool:
    return (
        isinstance(value, list)
        and len(value) == count
        and all(isinstance(one, int) and not isinstance(one, bool) for one in value)
    )


def _list(thing: Any, name: str) -> list[Any]:
    value = thing.get(name) if isinstance(thing, Mapping) else None
    return value if isinstance(value, list) else []


def _finding(where: str, message: str) -> Finding:
    return Finding(rule="record", where=where, message=message)
