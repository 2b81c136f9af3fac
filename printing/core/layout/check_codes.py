"""Whether every ordered unit stands on a plate exactly once, and no two codes can be taken for each other."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from dosewright.ground.pure.codes import raised_part
from printing.core.layout.expected import ExpectedLine, ExpectedPlan, Finding

LEAST_PLACES_APART = 2


def check_names(plates: Sequence[Mapping[str, Any]], expected: ExpectedPlan) -> list[Finding]:
    """Return codes used twice, look-alike zone codes on one plate, and lines that nobody ordered."""
    found = _twice("batch-code", [plate["batch"] for plate in plates])
    zones = [zone for plate in plates for zone in plate["zones"]]
    found += _twice("zone-code", [zone["code"] for zone in zones])
    found += _twice("unit-code", [unit["code"] for zone in zones for unit in zone["units"]])
    for plate in plates:
        found += _look_alikes(plate)
    known = {line.code for line in expected.lines}
    for zone in zones:
        for name in ("line", "geometry_of"):
            if zone[name] is not None and zone[name] not in known:
                found.append(
                    Finding(rule="line", where=zone["code"], message="a line that was not ordered", value=zone[name])
                )
        if zone["line"] is not None and zone["line"] != zone["geometry_of"]:
            found.append(Finding(rule="line", where=zone["code"], message="units have another line's geometry"))
    return found


def check_counts(plates: Sequence[Mapping[str, Any]], expected: ExpectedPlan) -> list[Finding]:
    """Return lines with missing, foreign or surplus units, and parts that are unequal or incomplete."""
    found: list[Finding] = []
    zones = [zone for plate in plates for zone in plate["zones"]]
    for line in expected.lines:
        mine = [zone for zone in zones if zone["line"] == line.code]
        found += _units_of(line, mine) + _parts_of(line, mine)
    ordered = {code for line in expected.lines for code in line.unit_codes}
    for zone in zones:
        if zone["test"] is not None:
            found += [
                Finding(
                    rule="test-unit", where=zone["code"], message="a patient's unit in a test zone", value=unit["code"]
                )
                for unit in zone["units"]
                if unit["code"] in ordered
            ]
    return found


def _units_of(line: ExpectedLine, zones: Sequence[Mapping[str, Any]]) -> list[Finding]:
    placed = Counter(unit["code"] for zone in zones for unit in zone["units"])
    wanted = Counter(line.unit_codes)
    found = []
    if placed.total() != wanted.total():
        found.append(
            Finding(
                rule="count",
                where=line.code,
                message="not as many units as ordered with their spares",
                value=str(placed.total()),
                limit=str(wanted.total()),
            )
        )
    if set(placed) != set(wanted):
        wrong = sorted(set(placed) ^ set(wanted))
        found.append(Finding(rule="unit-of-line", where=line.code, message="units missing or foreign", value=wrong[0]))
    return found


def _parts_of(line: ExpectedLine, zones: Sequence[Mapping[str, Any]]) -> list[Finding]:
    parts = sorted(tuple(zone["part"]) for zone in zones)
    if parts != [(place, len(zones)) for place in range(1, len(zones) + 1)]:
        return [
            Finding(rule="parts", where=line.code, message="parts are missing, doubled or miscounted", value=str(parts))
        ]
    sizes = [len(zone["units"]) for zone in zones]
    if sizes and max(sizes) - min(sizes) > 1:
        return [Finding(rule="parts", where=line.code, message="parts differ by more than one unit", value=str(sizes))]
    return []


def _twice(rule: str, codes: Sequence[str]) -> list[Finding]:
    return [
        Finding(rule=rule, where=code, message="used more than once in the plan", value=str(times))
        for code, times in sorted(Counter(codes).items())
        if times > 1
    ]


def _look_alikes(plate: Mapping[str, Any]) -> list[Finding]:
    found = []
    codes = sorted(raised_part(zone["code"]) for zone in plate["zones"])
    for place, one in enumerate(codes):
        for other in codes[:place]:
            apart = sum(a != b for a, b in zip(one, other, strict=False)) if len(one) == len(other) else None
            if apart is not None and apart < LEAST_PLACES_APART:
                found.append(
                    Finding(
                        rule="code-distance",
                        where=one,
                        message=f"too like {other} on one plate",
                        value=str(apart),
                        limit=str(LEAST_PLACES_APART),
                    )
                )
    return found
