"""Weight and height: on file, believable, no slip against what was measured before, in date when printing starts."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Final

from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.quantities import CM_PER_INCH, Basis
from prescriptions.body_weight import (
    BANDS_SOURCE,
    VALIDITY_SOURCE,
    age_on,
    believable_kg,
    weight_change_slip,
    weight_slip,
    weight_valid_days,
)
from prescriptions.findings import Finding, Severity, alert
from prescriptions.screen_facts import ScreenInput

ADULT_MONTHS: Final = 216
FAR_OFF: Final = 2
"""A weight beyond the band by this factor is no weight of that age [multiple]; judgement, no source."""

CHANGE_FRAC: Final = Decimal("0.25")
CHANGE_WITHIN_DAYS: Final = 180
CHANGE_FROM_MONTHS: Final = 24
"""How much a weight may change [fraction] within how long [days], from what age on; judgement, no source."""

BODY_MASS_INDEX: Final = (Decimal(7), Decimal(80))
BODY_MASS_FROM_MONTHS: Final = 3
"""Weight over height squared that is hardly believable [kg/m2], and from what age it is looked at; judgement."""


def screen_weight(facts: ScreenInput) -> list[Finding]:
    """Ask for a weight, for one that is believable, and for one that is in date when printing starts."""
    weight_kg, weight_date = facts.patient.weight_kg, facts.patient.weight_date
    if weight_kg is None or weight_date is None:
        severity = Severity.BLOCK if _weight_matters(facts) else Severity.REASON
        return [alert("weight-missing", severity, "patient.weight", "no weight with its date is on file", "none")]
    return [
        *_screen_believable(facts, weight_kg),
        *_screen_change(facts, weight_kg, weight_date),
        *_screen_in_date(facts, weight_date),
    ]


def screen_height(facts: ScreenInput) -> list[Finding]:
    """Ask whether a height can be that of somebody of this weight: inches for centimetres, a digit too many.

    A weight that is hardly believable itself says nothing about the height.
    """
    weight_kg, height_cm = facts.patient.weight_kg, facts.patient.height_cm
    if weight_kg is None or height_cm is None or facts.age_at_start.months < BODY_MASS_FROM_MONTHS:
        return []
    least_kg, most_kg = believable_kg(facts.age_at_start, facts.patient.sex)
    low, high = BODY_MASS_INDEX
    index = _body_mass_index(weight_kg, height_cm)
    if low <= index <= high or not least_kg <= weight_kg <= most_kg:
        return []
    message = f"{decimal_text(height_cm)} cm is hardly believable for {decimal_text(weight_kg)} kg"
    in_inches = height_cm * CM_PER_INCH
    if low <= _body_mass_index(weight_kg, in_inches) <= high:
        message += f": inches entered as centimetres? that would be {decimal_text(round(in_inches, 1))} cm"
    severity = Severity.REASON if _height_matters(facts) else Severity.INFORM
    limit = f"{decimal_text(low)} to {decimal_text(high)}"
    shown = decimal_text(round(index, 1))
    return [alert("height-hardly-believable", severity, "patient.height", message, shown, limit, "kg/m2")]


def _body_mass_index(weight_kg: Decimal, height_cm: Decimal) -> Decimal:
    return weight_kg * 10_000 / (height_cm * height_cm)


def _height_matters(facts: ScreenInput) -> bool:
    return Basis.PER_M2 in facts.basis or any(limit.basis is Basis.PER_M2 for limit in facts.substance.limits)


def _weight_matters(facts: ScreenInput) -> bool:
    by_size = any(limit.basis is not Basis.ABSOLUTE for limit in facts.substance.limits)
    return by_size or facts.basis != {Basis.ABSOLUTE} or facts.age_at_start.months < ADULT_MONTHS


def _screen_believable(facts: ScreenInput, weight_kg: Decimal) -> list[Finding]:
    low, high = believable_kg(facts.age_at_start, facts.patient.sex)
    if low <= weight_kg <= high:
        return []
    slip = weight_slip(weight_kg, low, high)
    far_off = weight_kg * FAR_OFF < low or weight_kg > high * FAR_OFF
    severity = Severity.BLOCK if far_off else Severity.REASON
    limit = f"{decimal_text(low)} to {decimal_text(high)}"
    message = f"{decimal_text(weight_kg)} kg is hardly believable at this age"
    message = message if slip is None else f"{message}: {slip}"
    value = decimal_text(weight_kg)
    place, rule = "patient.weight", "weight-hardly-believable"
    return [alert(rule, severity, place, message, value, limit, "kg", source=BANDS_SOURCE)]


def _screen_change(facts: ScreenInput, weight_kg: Decimal, weight_date: date) -> list[Finding]:
    """Compare with the weight before: a pound taken for a kilogram lies inside the band of many grown-ups."""
    before_kg, before_date = facts.patient.earlier_weight_kg, facts.patient.earlier_weight_date
    if before_kg is None or before_date is None:
        return []
    slip = weight_change_slip(before_kg, weight_kg)
    days = abs((weight_date - before_date).days)
    sudden = days <= CHANGE_WITHIN_DAYS and facts.age_at_start.months >= CHANGE_FROM_MONTHS
    if slip is None and not (sudden and abs(weight_kg - before_kg) > CHANGE_FRAC * before_kg):
        return []
    percent = decimal_text(round((weight_kg - before_kg) / before_kg * 100, 1))
    message = f"{decimal_text(weight_kg)} kg after {decimal_text(before_kg)} kg, {days} days apart"
    message = message if slip is None else f"{message}: {slip}"
    limit = decimal_text(CHANGE_FRAC * 100)
    return [alert("weight-change", Severity.REASON, "patient.weight", message, percent, limit, "%")]


def _screen_in_date(facts: ScreenInput, weight_date: date) -> list[Finding]:
    birth_date = facts.patient.birth_date
    if weight_date > facts.today or weight_date < birth_date:
        message = "the weight is dated in the future or before birth"
        limit = f"{birth_date.isoformat()} to {facts.today.isoformat()}"
        return [alert("weight-date", Severity.BLOCK, "patient.weight", message, weight_date.isoformat(), limit)]
    print_date = max(facts.print_start_date, birth_date)
    valid_days = weight_valid_days(age_on(birth_date, print_date))
    old_days = (print_date - weight_date).days
    if old_days <= valid_days:
        return []
    severity = Severity.BLOCK if _weight_matters(facts) else Severity.REASON
    message = f"the weight will be {old_days} days old when printing starts; at this age it holds {valid_days} days"
    place, rule = "patient.weight", "weight-out-of-date"
    return [alert(rule, severity, place, message, str(old_days), str(valid_days), "day", source=VALIDITY_SOURCE)]
