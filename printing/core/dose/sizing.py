"""From an ordered dose to equal units that hold it, or a refusal that says what would be possible."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.errors import BadInput, Blocked, Refusal, Refused
from printing.core.dose.content_budget import content_budget
from printing.core.dose.limits import Against, ValidatedRange
from printing.core.dose.model import Terms
from printing.core.dose.shapes import Design, shape_named
from printing.core.dose.tolerance import BLOCK, Check, checks_of, studied_dose_check
from printing.core.dose.uncertainty import Budget
from printing.core.dose.unit import SizedUnit, UnitFigures, size_unit, sketch_unit

MOST_DIGITS = 12
NANOGRAMS_PER_MG = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeRequest:
    """A dose [mg] to be sized, how, and against what.

    ``units_per_dose`` asks for one number of units only; ``orderable_step_mg`` is what offered doses are a
    multiple of (else three significant digits).
    """

    dose_mg: Decimal
    design: Design
    terms: Terms
    against: Against
    units_per_dose: int | None = None
    orderable_step_mg: Decimal | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SizedDose:
    """A dose as equal units, with the checks it met and the budget of their mean content."""

    ordered_mg: Decimal
    units_per_dose: int
    unit: SizedUnit
    deviation_frac: float
    checks: tuple[Check, ...]
    budget: Budget | None

    @property
    def predicted_mg(self) -> float:
        """The content of the whole dose [mg]."""
        return self.units_per_dose * self.unit.content_mg

    @property
    def reasons(self) -> tuple[Check, ...]:
        """The checks that need a pharmacist's reason."""
        return tuple(one for one in self.checks if one.verdict == "reason")

    def as_dict(self) -> dict[str, Any]:
        """Return the answer of the `size` command."""
        return {
            "units_per_dose": self.units_per_dose,
            "deviation_frac": self.deviation_frac,
            "checks": [one.as_dict() for one in self.checks],
            "unit": self.unit.as_dict(),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Nearest:
    """The nearest doses [mg] that can be made, below and above; None where there is none."""

    below: Decimal | None
    above: Decimal | None

    def as_dict(self) -> dict[str, str | None]:
        """Return both as decimal text."""
        return {
            "below": None if self.below is None else decimal_text(self.below),
            "above": None if self.above is None else decimal_text(self.above),
        }


class DoseNotPossible(Blocked):
    """No number of units can carry the dose; names the binding limits and the nearest doses."""

    slug = "dose-not-possible"

    def __init__(self, *refusals: Refusal, nearest: Nearest) -> None:
        super().__init__(*refusals)
        self.nearest = nearest


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """One number of units tried: the dose, or why not; whether each unit's strength has an exact figure."""

    units: int
    dose: SizedDose | None
    refusals: tuple[Refusal, ...]
    exact: bool = True


def size_dose(request: SizeRequest) -> SizedDose:
    """Return the dose in the fewest equal units that no check blocks.

    Raises BadInput for a bad dose, or a design that is not the validated one; DoseNotPossible, with the binding
    limits and the nearest doses that were themselves sized, when no number of units can carry it.
    Source: design.md section 6.  Nothing is clamped or rounded.
    """
    from printing.core.dose.nearest import nearest_doses

    dose = checked_dose(request.dose_mg)
    refuse_other_design(request)
    attempts = []
    for units in units_to_try(request):
        attempts.append(attempt(request, dose, units))
        if (found := attempts[-1].dose) is not None:
            return found
    nearest = nearest_doses(request)
    # Too large a dose is bound by what the most units cannot carry, too small a one by a single unit.
    ordered = attempts[::-1] if nearest.above is None else attempts
    binding = min(ordered, key=lambda one: (not one.exact, len(one.refusals)))
    raise DoseNotPossible(*binding.refusals, nearest=nearest)


def split_dose(dose_mg: Decimal, units: int) -> Fraction:
    """Return the exact content [mg] of each of `units` equal units; raises BadInput for 0 or less of either."""
    if isinstance(units, bool) or not isinstance(units, int) or units < 1:
        raise BadInput.because("units_per_dose", "is no number of units", value=str(units), accepted="1 or more")
    return checked_dose(dose_mg) / units


def units_to_try(request: SizeRequest) -> range:
    """Return the numbers of units per dose that the site allows at the patient's age, fewest first.

    Mini-units are counted apart: as many as bring the content of one into the validated range.
    """
    site, age = request.against.site, request.against.patient.age_years
    most = site.most_units_under_12_years if age is not None and age < 12 else site.most_units
    mini = shape_named(request.design.shape, request.design.orientation).counted_apart
    if mini:
        most = site.most_mini_units
    if request.units_per_dose is None:
        return _mini_units(request, most) if mini else range(1, most + 1)
    if isinstance(request.units_per_dose, bool) or not 1 <= request.units_per_dose <= most:
        value, accepted = str(request.units_per_dose), f"1 to {most}"
        raise BadInput.because("units_per_dose", "is not allowed", value=value, accepted=accepted)
    return range(request.units_per_dose, request.units_per_dose + 1)


def _mini_units(request: SizeRequest, most: int) -> range:
    studied = request.against.validated
    if studied is None:
        return range(1, most + 1)
    dose, low, high = checked_dose(request.dose_mg), Fraction(studied.dose_mg[0]), Fraction(studied.dose_mg[1])
    # Where no number does, one is still tried, so that the refusal can say what stands in the way.
    fewest = min(most, max(1, math.ceil(dose / high)))
    return range(fewest, max(fewest, min(most, math.floor(dose / low))) + 1)


def checked_dose(dose_mg: Decimal) -> Fraction:
    """Return a dose exactly; raises BadInput unless it is a finite positive Decimal of at most 12 digits."""
    if not isinstance(dose_mg, Decimal) or not dose_mg.is_finite() or dose_mg <= 0:
        raise BadInput.because("dose_mg", "is no dose", value=str(dose_mg), unit="mg", accepted="more than 0")
    if len(dose_mg.normalize().as_tuple().digits) > MOST_DIGITS:
        accepted = f"at most {MOST_DIGITS} significant digits"
        raise BadInput.because("dose_mg", "has too many digits", value=str(dose_mg), unit="mg", accepted=accepted)
    return Fraction(dose_mg)


def refuse_other_design(request: SizeRequest) -> None:
    """Raise BadInput when the design is not the one that the formulation's range was validated for."""
    studied = request.against.validated
    if studied is None or request.against.development:
        return
    refusals = [
        Refusal(
            field=field,
            message="is not what was validated",
            value=asked,
            accepted=known,
            rule="not-validated",
        )
        for field, asked, known, good in _compared(request.design, studied)
        if not good
    ]
    if refusals:
        raise BadInput(*refusals)


def attempt(request: SizeRequest, dose_mg: Fraction, units: int) -> Attempt:
    """Size a dose in so many units and check it; what blocks comes back as refusals."""
    if not has_exact_strength(dose_mg, units):
        return Attempt(units=units, dose=None, refusals=(_no_exact_strength(dose_mg, units),), exact=False)
    try:
        unit = size_unit(float(dose_mg / units), request.design, request.terms)
    except Blocked as blocked:
        refusals = (*_outside_studied(request, dose_mg, units), *blocked.refusals)
        return Attempt(units=units, dose=None, refusals=refusals)
    checks, budget = _checked(request, unit, dose_mg, units)
    blocks = tuple(_refusal(one, units) for one in checks if one.verdict == BLOCK)
    if blocks:
        return Attempt(units=units, dose=None, refusals=blocks)
    sized = SizedDose(
        ordered_mg=request.dose_mg,
        units_per_dose=units,
        unit=unit,
        deviation_frac=units * unit.content_mg / float(dose_mg) - 1.0,
        checks=checks,
        budget=budget,
    )
    return Attempt(units=units, dose=sized, refusals=())


def has_exact_strength(dose_mg: Fraction, units: int) -> bool:
    """Return whether one of so many equal units holds a whole number of nanograms, as its label must say exactly."""
    return (dose_mg / units * NANOGRAMS_PER_MG).denominator == 1


def _no_exact_strength(dose_mg: Fraction, units: int) -> Refusal:
    return Refusal(
        field="units per dose",
        message=f"{float(dose_mg):.12g} mg has no exact part of {units} to print as a strength",
        value=str(units),
        limit="whole nanograms in each",
        unit="units",
        accepted="a number of units that divides the dose exactly",
        rule="dose-check",
    )


def _outside_studied(request: SizeRequest, dose_mg: Fraction, units: int) -> tuple[Refusal, ...]:
    """The studied range as a refusal, where nothing could be drawn that it could be held against."""
    check = studied_dose_check(dose_mg / units, request.against)
    return (_refusal(check, units),) if check.verdict == BLOCK else ()


def may_be_made(request: SizeRequest, dose_mg: Fraction, units: int) -> bool:
    """Return whether the smooth unit meets every check; for a search, whose finds are then sized as written."""
    try:
        unit = sketch_unit(float(dose_mg / units), request.design, request.terms)
    except Blocked:
        return False
    return all(one.verdict != BLOCK for one in _checked(request, unit, dose_mg, units)[0])


def _checked(
    request: SizeRequest, unit: UnitFigures, dose_mg: Fraction, units: int
) -> tuple[tuple[Check, ...], Budget | None]:
    budget = None
    if request.terms.uncertainty is not None:
        budget = content_budget(request.terms, unit.geometry, units=units)
    return checks_of(unit, dose_mg, units, budget, request.against), budget


def _compared(design: Design, studied: ValidatedRange) -> list[tuple[str, str, str, bool]]:
    names = ("shape", "rule", "orientation", "mount")
    rows = [(name, getattr(design, name), getattr(studied, name)) for name in names]
    compared = [(name, asked, known, asked == known) for name, asked, known in rows]
    layers = ", ".join(str(one) for one in studied.layer_um)
    return [*compared, ("layer_um", str(design.layer_um), layers, design.layer_um in studied.layer_um)]


def _refusal(check: Check, units: int) -> Refusal:
    limit = f"{check.limit[0]:g} to {check.limit[1]:g}" if isinstance(check.limit, tuple) else check.limit
    with_units = "one unit" if units == 1 else f"{units} equal units"
    return Refusal(
        field=check.name,
        message=f"with {with_units} the limit is not met" + (f" ({check.note})" if check.note else ""),
        value=None if check.value is None else f"{check.value:.6g}",
        limit=None if limit is None else str(limit),
        unit=check.unit,
        rule="dose-check",
    )


__all__ = ["DoseNotPossible", "Nearest", "Refused", "SizeRequest", "SizedDose", "size_dose", "split_dose"]
