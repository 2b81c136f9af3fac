"""What a zone's verdict still lacks, and why it fails: rules over the evidence. PURE.

Mass alarms, only assay corrects. A unit that is out of its limits must be rejected before the verdict, so that
no such unit can be packed; the verdict then asks whether enough good ones are left.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from dosewright.ground.pure.errors import Refusal
from printing.runs.content import (
    MUST_NOT_BE_USED,
    ContentFacts,
    DeviationFacts,
    MassFinding,
    Statistics,
    StepFacts,
    UnitEvidence,
)

GOOD = "printed"
FOUND_GOOD = (GOOD, "packed", "supplied", "returned", "surplus", "retained")
"""States of a unit that was good when its zone was judged, wherever it went since."""

LINE_MEAN, UNIT = "line mean", "unit"


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """The evidence on one zone as the rules read it; `contents` are those of the whole batch."""

    zone: str
    wanted: int
    is_test: bool
    batch_state: str
    broken_off: bool
    unweighed_zones: tuple[str, ...]
    counted: tuple[int, ...]
    units: tuple[UnitEvidence, ...]
    statistics: Statistics | None
    findings: tuple[MassFinding, ...]
    contents: tuple[ContentFacts, ...]
    untested: tuple[str, ...]
    steps: tuple[StepFacts, ...]
    deviations: tuple[DeviationFacts, ...]

    @property
    def states(self) -> Mapping[str, int]:
        """How many units are in each state."""
        return dict(sorted(Counter(one.state for one in self.units).items()))

    @property
    def good(self) -> int:
        """How many units could be packed, or of a test zone were tested."""
        return sum(self.states.get(state, 0) for state in (("tested",) if self.is_test else FOUND_GOOD))

    @property
    def off_unit(self) -> tuple[MassFinding, ...]:
        """Findings on the mass of units that are still among the good ones."""
        standing = {one.code for one in self.units if one.state == GOOD}
        return tuple(one for one in self.findings if one.kind == UNIT and one.unit in standing)


def missing(judged: Judged) -> tuple[Refusal, ...]:
    """Return everything that must be done before a verdict can be given."""
    found: list[Refusal] = []
    if judged.batch_state not in {"testing", "closed"}:
        found.append(_lack("batch", judged.batch_state, "is not being tested", "a batch whose finishing has ended"))
    if not judged.broken_off:
        found.append(_lack(judged.zone, "on its raft", "is not broken off", "a zone that is broken off and weighed"))
    found += [
        _lack(one, "", "has units without a mass: neighbours must be known", "every zone of the batch weighed")
        for one in judged.unweighed_zones
    ]
    found += [
        _lack(one.code, f"number {one.number}", "was not looked at", "an appearance for every unit")
        for one in judged.units
        if one.state in {GOOD, "tested"} and not one.appearance
    ]
    found += [_lack(one, "", "test unit has no assay", "a content for every test unit") for one in judged.untested]
    found += [
        Refusal(
            field=one.unit,
            value=str(one.measured_mg),
            limit=f"{one.predicted_mg} +/- {100 * one.limit_frac:f} %",
            unit="mg",
            message="is outside its limit and not rejected",
            accepted="reject the unit",
            rule="mass",
        )
        for one in judged.off_unit
    ]
    found += [
        _lack(f"step {one.number}", one.kind, "is not ended", "every finishing step ended")
        for one in judged.steps
        if one.ended_at is None
    ]
    found += [
        _lack(one.code, one.kind, "is an open deviation that holds this zone", "a closed deviation")
        for one in judged.deviations
        if one.state == "open" and one.holds
    ]
    return (*found, *_count(judged))


def failures(judged: Judged) -> tuple[Refusal, ...]:
    """Return every limit that the evidence does not keep."""
    found: list[Refusal] = []
    if judged.good < judged.wanted:
        found.append(_fail("good units", str(judged.good), str(judged.wanted), "units", "fewer than are wanted"))
    found += [
        _fail("mean mass", str(one.measured_mg), f"{one.predicted_mg} +/- {100 * one.limit_frac:f} %", "mg", "is off")
        for one in judged.findings
        if one.kind == LINE_MEAN and one.zone == judged.zone
    ]
    found += [
        _fail(
            f"content of {one.unit}",
            str(one.content_mg),
            f"{one.dose_mg} +/- {100 * one.limit_frac:f} %",
            "mg",
            "is outside its limit",
        )
        for one in judged.contents
        if not one.passed
    ]
    found += [
        _fail(one.code, one.decision, "may be used", "", f"{one.kind}: decided when it was closed")
        for one in judged.deviations
        if one.decision == MUST_NOT_BE_USED
    ]
    return tuple(found)


def _count(judged: Judged) -> list[Refusal]:
    """The last count must be what the states of the units say; else somebody must count again."""
    there = sum(count for state, count in judged.states.items() if state not in {"not printed", "unaccounted"})
    if judged.counted and judged.counted[-1] == there:
        return []
    last = str(judged.counted[-1]) if judged.counted else "none"
    return [
        Refusal(
            field="count",
            value=last,
            limit=str(there),
            unit="units",
            message="the last count is not what is on record",
            accepted="a count that agrees, corrected with a reason",
            rule="count",
        )
    ]


def _lack(field: str, value: str, message: str, accepted: str) -> Refusal:
    return Refusal(field=field, value=value, message=message, accepted=accepted, rule="evidence")


def _fail(field: str, value: str, limit: str, unit: str, message: str) -> Refusal:
    return Refusal(field=field, value=value, limit=limit, unit=unit or None, message=message, rule="verdict")
