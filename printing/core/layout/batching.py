"""Which lines may share a plate, how many spares they need, and which units the test plan asks for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import NamedTuple

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.formulas import formula
from printing.core.layout.request import PlacedLine, Which

ENOUGH_LIKELIHOOD = Decimal("0.95")
"""How likely enough good units must be (design rule)."""

START_REJECT_FRAC = Decimal("0.05")
"""Reject rate before a site has measured its own; judgement, no source."""

LEAST_SPARES = 1


class GroupKey(NamedTuple):
    """What all lines of a plate have in common."""

    formulation: str
    lot: str
    profile: str
    layer_um: int
    mount: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Lines that may share plates, in order of their codes."""

    key: GroupKey
    lines: tuple[PlacedLine, ...]


def group_lines(lines: Sequence[PlacedLine]) -> tuple[Group, ...]:
    """Return the groups of lines with one formulation, lot, profile, layer height and mount, sorted by key."""
    found: dict[GroupKey, list[PlacedLine]] = {}
    for line in lines:
        key = GroupKey(line.formulation, line.lot, line.profile, line.layer_um, line.mount)
        found.setdefault(key, []).append(line)
    return tuple(Group(key=key, lines=tuple(sorted(found[key], key=lambda line: line.code))) for key in sorted(found))


@formula(
    "spares",
    inputs={
        "count": "units needed, 1 or more",
        "reject_frac": "chance that a unit is rejected, 0 to 0.5",
        "likelihood": "how likely enough good ones must be, more than 0 to below 1",
        "at_least": "fewest spares, 0 or more",
    },
    source="binomial distribution (e.g. NIST/SEMATECH e-Handbook 1.3.6.6.18)",
)
def spares_for(
    count: int,
    reject_frac: Decimal = START_REJECT_FRAC,
    *,
    likelihood: Decimal = ENOUGH_LIKELIHOOD,
    at_least: int = LEAST_SPARES,
) -> int:
    """Return the fewest spares, at least `at_least`, that leave `count` good units with `likelihood`.

    Rejects are taken as independent (binomial); exact fractions, so the answer has no rounding edge.
    Raises BadInput for a count below 1, a reject rate outside 0 to 0.5, a likelihood outside 0 to 1 (excluded).
    """
    if count < 1:
        raise BadInput.because("count", "at least one unit is needed", value=str(count), accepted="1 or more")
    if not (reject_frac.is_finite() and 0 <= reject_frac <= Decimal("0.5")):
        raise BadInput.because("reject_frac", "no usable reject rate", value=str(reject_frac), accepted="0 to 0.5")
    if not (likelihood.is_finite() and 0 < likelihood < 1) or at_least < 0:
        raise BadInput.because("likelihood", "no usable likelihood or least", value=f"{likelihood}, {at_least}")
    bad, wanted = Fraction(reject_frac), Fraction(likelihood)
    term = (1 - bad) ** count
    enough, spares = term, 0
    while enough < wanted or spares < at_least:
        spares += 1
        term = term * bad * (count + spares - 1) / spares
        enough += term
    return spares


def extreme_line(lines: Sequence[PlacedLine], which: Which) -> PlacedLine:
    """Return the line with the smallest or the largest dose per unit; equal doses go by code."""
    ordered = sorted(lines, key=lambda line: (line.dose_mg, line.code))
    if which == "smallest":
        return ordered[0]
    largest = ordered[-1].dose_mg
    return next(line for line in ordered if line.dose_mg == largest)
