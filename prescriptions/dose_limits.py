"""Doses against limits: per dose, per day and per course, with the slip of a power of ten named."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Final

from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.quantities import Basis, DoseAmount
from prescriptions.body_weight import Age
from prescriptions.dosing import BodySize, bsa_m2, to_nanogram
from prescriptions.findings import Finding, Severity

SLIPS: Final = {10: "tenfold slip", 100: "hundredfold slip", 1000: "thousandfold slip (mg for ug, or g for mg)"}
"""Powers of ten by which a dose is mistaken; the last is that of a unit."""


class Per(StrEnum):
    """What a limit is held against."""

    DOSE = "dose"
    DAY = "day"
    COURSE = "course"


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """The plausible least and the most of a substance, ``low`` and ``high`` [mg, mg/kg or mg/m2 by basis].

    It holds for one ``route``, from ``from_days`` and before ``to_days`` of age [days], from ``from_kg``
    and below ``to_kg`` of weight [kg]; None leaves an end open. ``severity`` is that of an alert which
    is not so far off that it blocks. ``source`` names who says so.
    """

    per: Per
    source: str
    high: Decimal | None = None
    low: Decimal | None = None
    basis: Basis = Basis.ABSOLUTE
    severity: Severity = Severity.REASON
    route: str = "oral"
    from_days: int = 0
    to_days: int | None = None
    from_kg: Decimal | None = None
    to_kg: Decimal | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Severities:
    """How far outside a limit an alert blocks instead of asking for a reason [multiples, > 1; site].

    The defaults are judgement, no source.
    """

    over_blocks_at: Decimal = Decimal(2)
    under_blocks_at: Decimal = Decimal(10)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clues:
    """What helps to name a slip: what doses were given per, and the most doses that fall on a day."""

    bases: frozenset[Basis] = frozenset({Basis.ABSOLUTE})
    doses_a_day: int = 1


def check_limits(
    limits: Sequence[Limit],
    taken_mg: Mapping[Per, Sequence[Decimal]],
    *,
    substance: str,
    route: str,
    age: Age,
    body: BodySize,
    severities: Severities,
    clues: Clues | None = None,
) -> list[Finding]:
    """Return the alerts of all limits that apply, and one for each of dose and day that has no upper limit.

    ``taken_mg`` [mg] holds the single doses, the daily totals over all active orders, and the course.
    """
    slips = _Slips(body=body, clues=clues or Clues())
    applying = [one for one in limits if _applies(one, route=route, age=age, weight_kg=body.weight_kg)]
    found: list[Finding] = []
    for limit in applying:
        found.extend(_held(limit, taken_mg[limit.per], slips=slips, severities=severities))
    covered = {one.per for one in applying if one.high is not None}
    found.extend(_no_limit(per, substance) for per in (Per.DOSE, Per.DAY) if per not in covered)
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Slips:
    """Names the slip that would bring a value back into the range of a limit."""

    body: BodySize
    clues: Clues

    def over(self, per: Per, value_mg: Decimal, low_mg: Decimal | None, high_mg: Decimal) -> str | None:
        """Name the slip by which ``value_mg`` [mg] would come down into the range, or None."""
        found = [(value_mg / factor, name) for factor, name in SLIPS.items()]
        if per is Per.DAY and self.clues.doses_a_day > 1:
            found.append((to_nanogram(value_mg / self.clues.doses_a_day), "day's dose written for each dose"))
        if self.body.weight_kg is not None and Basis.PER_KG in self.clues.bases:
            found.append((to_nanogram(value_mg / self.body.weight_kg), "dose in mg written as mg/kg"))
        return _named(found, low_mg, high_mg)

    def under(self, value_mg: Decimal, low_mg: Decimal, high_mg: Decimal | None) -> str | None:
        """Name the slip by which ``value_mg`` [mg] would come up into the range, or None."""
        found = [(value_mg * factor, name) for factor, name in SLIPS.items()]
        if self.body.weight_kg is not None and Basis.ABSOLUTE in self.clues.bases:
            found.append((value_mg * self.body.weight_kg, "dose in mg/kg written as mg"))
        return _named(found, low_mg, high_mg)


def _named(found: Sequence[tuple[Decimal, str]], low_mg: Decimal | None, high_mg: Decimal | None) -> str | None:
    for meant_mg, name in found:
        if (low_mg or 0) <= meant_mg and (high_mg is None or meant_mg <= high_mg):
            return f"a {name}? {decimal_text(meant_mg)} mg would lie in the range"
    return None


def _applies(limit: Limit, *, route: str, age: Age, weight_kg: Decimal | None) -> bool:
    if limit.route != route or age.days < limit.from_days:
        return False
    if limit.to_days is not None and age.days >= limit.to_days:
        return False
    if weight_kg is None:
        return limit.from_kg is None and limit.to_kg is None
    over_from = limit.from_kg is None or weight_kg >= limit.from_kg
    return over_from and (limit.to_kg is None or weight_kg < limit.to_kg)


def _held(limit: Limit, values_mg: Iterable[Decimal], *, slips: _Slips, severities: Severities) -> list[Finding]:
    scale = _scale(limit.basis, slips.body)
    if scale is None:
        return [_not_usable(limit)]
    high = None if limit.high is None else to_nanogram(limit.high * scale)
    low = None if limit.low is None else to_nanogram(limit.low * scale)
    values = sorted(values_mg)
    found: list[Finding] = []
    if values and high is not None and values[-1] > high:
        slip = slips.over(limit.per, values[-1], low, high)
        found.append(_over(limit, values[-1], high, slip, severities))
    if values and low is not None and values[0] < low:
        found.append(_under(limit, values[0], low, slips.under(values[0], low, high), severities))
    return found


def _scale(basis: Basis, body: BodySize) -> Decimal | None:
    if basis is Basis.ABSOLUTE:
        return Decimal(1)
    if basis is Basis.PER_KG or body.weight_kg is None:
        return body.weight_kg
    return None if body.height_cm is None else bsa_m2(body.height_cm, body.weight_kg)


def _over(limit: Limit, value: Decimal, high: Decimal, slip: str | None, severities: Severities) -> Finding:
    blocks = value > high * severities.over_blocks_at
    what = f"{decimal_text(value)} mg per {limit.per} is over the limit of {_written(limit, limit.high, high)}"
    return _finding(limit, "high", blocks, value, high, _joined(what, slip))


def _under(limit: Limit, value: Decimal, low: Decimal, slip: str | None, severities: Severities) -> Finding:
    blocks = value * severities.under_blocks_at <= low
    what = f"{decimal_text(value)} mg per {limit.per} is under the least of {_written(limit, limit.low, low)}"
    return _finding(limit, "low", blocks, value, low, _joined(what, slip))


def _finding(limit: Limit, end: str, blocks: bool, value: Decimal, bound: Decimal, message: str) -> Finding:
    return Finding(
        rule=f"limit-{limit.per}-{end}",
        severity=Severity.BLOCK if blocks else limit.severity,
        field="regimen",
        value=decimal_text(value),
        limit=decimal_text(bound),
        unit=f"mg per {limit.per}",
        source=limit.source,
        message=message,
    )


def _written(limit: Limit, bound: Decimal | None, bound_mg: Decimal) -> str:
    if limit.basis is Basis.ABSOLUTE or bound is None:
        return f"{decimal_text(bound_mg)} mg"
    return f"{decimal_text(bound_mg)} mg ({DoseAmount(value_mg=bound, basis=limit.basis).text})"


def _joined(what: str, slip: str | None) -> str:
    return what if slip is None else f"{what}: {slip}"


def _not_usable(limit: Limit) -> Finding:
    needed = "weight" if limit.basis is Basis.PER_KG else "weight and height"
    return Finding(
        rule="limit-not-usable",
        severity=Severity.BLOCK,
        field="patient.weight" if limit.basis is Basis.PER_KG else "patient.height",
        limit=limit.basis.value,
        source=limit.source,
        message=f"the limit per {limit.per} is {limit.basis}, and the patient's {needed} is not on file",
    )


def _no_limit(per: Per, substance: str) -> Finding:
    return Finding(
        rule=f"no-limit-{per}",
        severity=Severity.REASON,
        field="substance",
        value=substance,
        source="house rule: a missing limit is an alert too",
        message=f"no limit per {per} on file for this substance, route, age and weight: nothing was checked",
    )
