"""In-process masses: every unit against prediction, and against what its neighbours' zones should weigh.

Mass alarms, only assay corrects: a mass-derived content is an in-process estimate, not a content-uniformity
result.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import Enum

from dosewright.ground.pure.errors import BadInput, Refusal, refuse_if_any

SITE_SOURCE = "(site) common practice or judgement, no source"


class FindingKind(Enum):
    """What a mass gives away."""

    LINE_MEAN = "line mean"
    UNIT = "unit"
    MIX_UP = "possible mix-up"
    ALIKE = "zones that mass cannot tell apart"


@dataclass(frozen=True, slots=True, kw_only=True)
class MassLimits:
    """Limits of in-process masses as fractions of the predicted mass; defaults are the site's, no source."""

    line_mean_frac: float = 0.03
    unit_frac: float = 0.075
    small_unit_frac: float = 0.10
    small_unit_mg: float = 80.0

    def unit_limit_frac(self, predicted_mg: float) -> float:
        """Return the limit for one unit: wider at 80 mg or less."""
        return self.small_unit_frac if predicted_mg <= self.small_unit_mg else self.unit_frac


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneMasses:
    """The masses [mg] of one zone by unit code, and the mass that every unit of it is predicted to have."""

    zone: str
    predicted_mg: float
    measured_mg: Mapping[str, float]

    @property
    def mean_mg(self) -> float:
        """The mean of what was weighed [mg]."""
        return math.fsum(self.measured_mg.values()) / len(self.measured_mg)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that the masses give away; `fails` tells a failed limit from advice."""

    kind: FindingKind
    zone: str
    unit: str | None = None
    other_zone: str | None = None
    measured_mg: float | None = None
    predicted_mg: float
    deviation_frac: float
    limit_frac: float
    fails: bool
    source: str = SITE_SOURCE


@dataclass(frozen=True, slots=True, kw_only=True)
class MassVerdict:
    """What the masses of a plate say."""

    findings: tuple[Finding, ...] = field(default=())

    @property
    def passed(self) -> bool:
        """Whether no finding fails."""
        return not any(one.fails for one in self.findings)

    def of_zone(self, zone: str) -> tuple[Finding, ...]:
        """Return the findings that hold a zone: its own, and mix-ups that point at it."""
        return tuple(one for one in self.findings if zone in (one.zone, one.other_zone))


def judge_masses(zones: Sequence[ZoneMasses], limits: MassLimits | None = None) -> MassVerdict:
    """Return the findings of all zones of one plate.

    The line mean must be within 3 % of prediction, each unit within 7.5 % (10 % at 80 mg or less).  A unit that
    is further than the line-mean limit from its own prediction, nearer to another zone's, and within that zone's
    range is a possible mix-up and holds both zones.  Two zones so alike that their ranges overlap in each
    other's prediction are named, because mass cannot tell them apart (advice, not a failure).
    zones: at least one, with at least one mass each [mg] > 0.  Raises BadInput otherwise, or for a zone or unit
    that is named twice.  Source: design.md 1.7, (site) common practice or judgement.
    """
    used = limits or MassLimits()
    _refuse_bad(zones)
    findings: list[Finding] = []
    for zone in zones:
        others = [other for other in zones if other.zone != zone.zone]
        findings += _line_mean(zone, used)
        findings += [one for unit in sorted(zone.measured_mg) for one in _unit(zone, unit, others, used)]
    return MassVerdict(findings=(*findings, *_alike(zones, used)))


def _line_mean(zone: ZoneMasses, limits: MassLimits) -> list[Finding]:
    deviation = _deviation(zone.mean_mg, zone.predicted_mg)
    if _within(deviation, limits.line_mean_frac):
        return []
    return [
        Finding(
            kind=FindingKind.LINE_MEAN,
            zone=zone.zone,
            measured_mg=zone.mean_mg,
            predicted_mg=zone.predicted_mg,
            deviation_frac=deviation,
            limit_frac=limits.line_mean_frac,
            fails=True,
        )
    ]


def _unit(zone: ZoneMasses, unit: str, others: Sequence[ZoneMasses], limits: MassLimits) -> list[Finding]:
    measured = zone.measured_mg[unit]
    deviation, limit = _deviation(measured, zone.predicted_mg), limits.unit_limit_frac(zone.predicted_mg)
    findings: list[tuple[FindingKind, str | None, float, float, float]] = []
    if not _within(deviation, limit):
        findings.append((FindingKind.UNIT, None, zone.predicted_mg, deviation, limit))
    other = _fits_better(measured, deviation, others, limits)
    if other is not None:
        gap = _deviation(measured, other.predicted_mg)
        width = limits.unit_limit_frac(other.predicted_mg)
        findings.append((FindingKind.MIX_UP, other.zone, other.predicted_mg, gap, width))
    return [
        Finding(
            kind=kind,
            zone=zone.zone,
            unit=unit,
            other_zone=other_zone,
            measured_mg=measured,
            predicted_mg=predicted,
            deviation_frac=off,
            limit_frac=allowed,
            fails=True,
        )
        for kind, other_zone, predicted, off, allowed in findings
    ]


def _fits_better(
    measured: float, own_deviation: float, others: Sequence[ZoneMasses], limits: MassLimits
) -> ZoneMasses | None:
    if _within(own_deviation, limits.line_mean_frac):
        return None
    fitting = [
        (abs(gap), other.zone, other)
        for other in others
        if abs(gap := _deviation(measured, other.predicted_mg)) < abs(own_deviation)
        and _within(gap, limits.unit_limit_frac(other.predicted_mg))
    ]
    return min(fitting, key=lambda one: one[:2])[2] if fitting else None


def _alike(zones: Sequence[ZoneMasses], limits: MassLimits) -> list[Finding]:
    found = []
    for place, zone in enumerate(zones):
        for other in zones[place + 1 :]:
            gap, width = (
                _deviation(other.predicted_mg, zone.predicted_mg),
                limits.unit_limit_frac(zone.predicted_mg),
            )
            if _within(gap, width):
                found.append(
                    Finding(
                        kind=FindingKind.ALIKE,
                        zone=zone.zone,
                        other_zone=other.zone,
                        predicted_mg=zone.predicted_mg,
                        deviation_frac=gap,
                        limit_frac=width,
                        fails=False,
                    )
                )
    return found


def _deviation(measured: float, predicted: float) -> float:
    # Twelve decimals keep 107.5 of 100 at the limit instead of a rounding error beyond it.
    return round(measured / predicted - 1.0, 12)


def _within(deviation_frac: float, limit_frac: float) -> bool:
    return abs(deviation_frac) <= limit_frac


def _refuse_bad(zones: Sequence[ZoneMasses]) -> None:
    refusals = []
    names = [zone.zone for zone in zones]
    units = [unit for zone in zones for unit in zone.measured_mg]
    if not zones or len(set(names)) != len(names) or len(set(units)) != len(units):
        refusals.append(Refusal(field="zones", message="zones and units are there and named once", value=str(names)))
    for zone in zones:
        masses = [zone.predicted_mg, *zone.measured_mg.values()]
        if not zone.measured_mg or not all(math.isfinite(one) and one > 0 for one in masses):
            refusals.append(
                Refusal(field=zone.zone, message="masses are missing or not positive", unit="mg", accepted="> 0")
            )
    refuse_if_any(BadInput, refusals)
