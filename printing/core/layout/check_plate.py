"""Whether a plate holds one formulation, lot and profile, the right layers and heights, and its test zones."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from printing.core.layout.expected import ExpectedLine, ExpectedPlan, ExpectedPrinter, Finding

SAME = ("formulation", "lot", "layer_um", "mount")
GEOMETRY = ("outline", "layers", "height_um")


def check_plate(plate: Mapping[str, Any], lines: Mapping[str, ExpectedLine], expected: ExpectedPlan) -> list[Finding]:
    """Return broken rules that need no distances; a plate on a printer that may not be used is only named."""
    printer = expected.printer(plate["printer"])
    if printer is None:
        return [
            Finding(rule="frame", where=plate["batch"], message="not a printer of this plan", value=plate["printer"])
        ]
    zones = [zone for zone in plate["zones"] if zone["geometry_of"] in lines]
    found = _frame(plate, printer, expected) + _profile(plate, printer)
    for zone in zones:
        found += _of_one_kind(plate, zone, lines[zone["geometry_of"]])
        found += _as_ordered(zone, lines[zone["geometry_of"]])
    found += _heights(plate, [lines[zone["geometry_of"]] for zone in zones], printer, expected)
    found += _resin(plate, zones, lines) + _removal(plate)
    return found + _tests(plate, zones, lines, printer, expected)


def _profile(plate: Mapping[str, Any], printer: ExpectedPrinter) -> list[Finding]:
    """Return a finding unless the plate's profile is the one validated for its formulation on its printer."""
    wanted = printer.profiles.get(plate["formulation"])
    if wanted == plate["profile"]:
        return []
    return [
        Finding(
            rule="profile",
            where=plate["batch"],
            message="not the profile that is validated for this formulation on this printer",
            value=plate["profile"],
            limit=wanted or "none",
        )
    ]


def _frame(plate: Mapping[str, Any], printer: ExpectedPrinter, expected: ExpectedPlan) -> list[Finding]:
    """Return what the record states about printer, plate and gaps otherwise than ordered."""
    gaps, raft = plate["gaps_um"], plate["raft"]
    facts = (
        ("plate_um", tuple(plate["plate_um"]), printer.plate_um),
        ("build_height_um", plate["build_height_um"], printer.build_height_um),
        (
            "gaps_um",
            (gaps.get("unit"), gaps.get("zone"), gaps.get("edge")),
            (expected.unit_gap_um, expected.zone_gap_um, expected.edge_um),
        ),
        (
            "raft",
            (raft.get("border_um"), raft.get("slab_um"), raft.get("finger_gap_um")),
            (expected.border_um, expected.slab_um, expected.finger_gap_um),
        ),
    )
    return [
        Finding(
            rule="frame", where=f"{plate['batch']}.{name}", message="not as ordered", value=str(is_), limit=str(was)
        )
        for name, is_, was in facts
        if is_ != was
    ]


def _of_one_kind(plate: Mapping[str, Any], zone: Mapping[str, Any], line: ExpectedLine) -> list[Finding]:
    return [
        Finding(
            rule="one-kind",
            where=zone["code"],
            message=f"another {name} than the plate's",
            value=str(getattr(line, name)),
            limit=str(plate[name]),
        )
        for name in SAME
        if getattr(line, name) != plate[name]
    ]


def _as_ordered(zone: Mapping[str, Any], line: ExpectedLine) -> list[Finding]:
    found = [
        Finding(
            rule="geometry",
            where=zone["code"],
            message=f"{name} is not the line's",
            value=str(zone[name]),
            limit=str(getattr(line, name)),
        )
        for name in GEOMETRY
        if zone[name] != getattr(line, name)
    ]
    for unit in zone["units"]:
        if tuple(unit["footprint_um"]) != line.footprint_um or unit["orientation"] != line.orientation:
            found.append(
                Finding(
                    rule="geometry",
                    where=unit["code"],
                    message="footprint or orientation is not the line's",
                    value=str(unit["footprint_um"]),
                    limit=str(list(line.footprint_um)),
                )
            )
    if line.height_um != line.layers * line.layer_um:
        found.append(Finding(rule="geometry", where=line.code, message="height is not whole layers"))
    return found


def _heights(
    plate: Mapping[str, Any], lines: Sequence[ExpectedLine], printer: ExpectedPrinter, expected: ExpectedPlan
) -> list[Finding]:
    base_um = expected.slab_um + (expected.finger_gap_um if plate["mount"] == "necks" else 0)
    found = []
    if plate["layer_um"] <= 0 or plate["base_layers"] * plate["layer_um"] != base_um:
        found.append(
            Finding(
                rule="layers",
                where=plate["batch"],
                message="raft and finger gap are not these layers",
                value=str(plate["base_layers"]),
                limit=f"{base_um} um",
            )
        )
    layers = plate["base_layers"] + max((line.layers for line in lines), default=0)
    if plate["layers"] != layers:
        found.append(
            Finding(
                rule="layers",
                where=plate["batch"],
                message="not the layers of raft and tallest unit",
                value=str(plate["layers"]),
                limit=str(layers),
            )
        )
    if plate["layers"] * plate["layer_um"] > printer.build_height_um:
        found.append(
            Finding(
                rule="build-height",
                where=plate["batch"],
                message="higher than the printer builds",
                value=str(plate["layers"] * plate["layer_um"]),
                limit=str(printer.build_height_um),
            )
        )
    return found


def _resin(
    plate: Mapping[str, Any], zones: Sequence[Mapping[str, Any]], lines: Mapping[str, ExpectedLine]
) -> list[Finding]:
    """Return a finding when the plate's resin is less than its units and the slabs under them alone take."""
    units_um3 = sum(lines[zone["geometry_of"]].volume_um3 * len(zone["units"]) for zone in zones)
    if plate["resin_ul"] * 10**9 < units_um3:
        return [
            Finding(
                rule="resin",
                where=plate["batch"],
                message="less resin than the units alone hold",
                value=str(plate["resin_ul"]),
                limit=str(units_um3 // 10**9 + 1),
            )
        ]
    return []


def _removal(plate: Mapping[str, Any]) -> list[Finding]:
    order = sorted(zone["removal"] for zone in plate["zones"])
    if order != list(range(1, len(order) + 1)):
        return [Finding(rule="removal", where=plate["batch"], message="the order of removal has gaps or repeats")]
    return []


def _tests(
    plate: Mapping[str, Any],
    zones: Sequence[Mapping[str, Any]],
    lines: Mapping[str, ExpectedLine],
    printer: ExpectedPrinter,
    expected: ExpectedPlan,
) -> list[Finding]:
    tests = [zone for zone in zones if zone["test"] is not None]
    doses = [lines[zone["line"]].dose_mg for zone in zones if zone["line"] in lines]
    stated = sorted((zone["test"].get("which"), zone["test"].get("where"), len(zone["units"])) for zone in tests)
    wanted = sorted((test.which, test.where, test.units) for test in expected.tests.get(plate["formulation"], ()))
    found = []
    if stated != wanted:
        found.append(
            Finding(
                rule="test-plan",
                where=plate["batch"],
                message="test zones are not those of the test plan",
                value=str(stated),
                limit=str(wanted),
            )
        )
    for zone in tests:
        dose = lines[zone["geometry_of"]].dose_mg
        which = zone["test"].get("which")
        if doses and dose != (min(doses) if which == "smallest" else max(doses)):
            found.append(
                Finding(
                    rule="test-plan", where=zone["code"], message=f"not the {which} dose of this plate", value=str(dose)
                )
            )
        found += _where(zone, printer, expected)
    return found


def _where(zone: Mapping[str, Any], printer: ExpectedPrinter, expected: ExpectedPlan) -> list[Finding]:
    """Return a finding when a test zone does not stand where it says."""
    xs, ys = ([corner[axis] for corner in zone["polygon_um"]] for axis in (0, 1))
    edge, (width, depth) = expected.edge_um, printer.plate_um
    where = zone["test"].get("where")
    right = {
        "corner": (min(xs), min(ys)) == (edge, edge),
        "opposite corner": (max(xs), max(ys)) == (width - edge, depth - edge),
        "centre": abs(min(xs) + max(xs) - width) <= 2 and abs(min(ys) + max(ys) - depth) <= 2,
    }
    if right.get(str(where), False):
        return []
    return [Finding(rule="test-place", where=zone["code"], message=f"does not stand at the {where}")]
