"""The second look at a plan before anyone approves it; it shares no code with zones, packing or the planner.

It reads the record alone (what is stored and shown), against what was ordered. Distances are exact: a footprint
is a point, a segment or a rectangle with a radius around it, so round ends are never approximated.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dosewright.ground.pure.errors import BadInput
from printing.core.layout.check_codes import check_counts, check_names
from printing.core.layout.check_geometry import check_geometry
from printing.core.layout.check_plate import check_plate
from printing.core.layout.check_shape import check_shape
from printing.core.layout.expected import ExpectedPlan, Finding


def check_plan(record: Mapping[str, Any], expected: ExpectedPlan) -> list[Finding]:
    """Return every rule that the plan's `record` breaks against what was `expected`; none means sound.

    A record with missing or mistyped parts is reported as such and not looked into further.
    """
    found = check_shape(record)
    if found:
        return found
    plates: Sequence[Mapping[str, Any]] = record["plates"]
    found = check_names(plates, expected) + check_counts(plates, expected)
    lines = {line.code: line for line in expected.lines}
    for plate in plates:
        found += check_plate(plate, lines, expected)
        found += check_geometry(plate, expected)
    return found


def require_sound(record: Mapping[str, Any], expected: ExpectedPlan) -> None:
    """Raise BadInput with every finding when the plan is not sound."""
    found = check_plan(record, expected)
    if found:
        first = found[0]
        raise BadInput.because(
            "plan",
            f"{len(found)} rules broken, first: {first.rule} at {first.where}: {first.message}",
            value=first.value,
            limit=first.limit,
        )
