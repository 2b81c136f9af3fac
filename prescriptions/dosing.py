"""From a dose per kg or per m2 to the dose that is ordered: worked out once, capped, rounded once, shown."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_DOWN, ROUND_HALF_UP, Context, Decimal
from typing import Final

from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.formulas import formula
from dosewright.ground.pure.notation import format_number
from dosewright.ground.pure.quantities import MAX_DOSE_DIGITS, Basis, DoseAmount, plain

MAX_DIFFERENCE_FRAC: Final = Decimal("0.10")
"""Largest change by rounding [fraction]; 10 % is a common institutional cap (Rashed et al., Int J Pharm
Pract 2020;28:107-110, audits against it), a site may set less."""

_CONTEXT: Final = Context(prec=MAX_DOSE_DIGITS)
_SHOWN: Final = Context(prec=4)
_FINEST_MG: Final = Decimal("0.000001")
_MOSTELLER: Final = 3600


@dataclass(frozen=True, slots=True, kw_only=True)
class BodySize:
    """The measures a dose is worked out from: ``weight_kg`` [kg, > 0], ``height_cm`` [cm, > 0]."""

    weight_kg: Decimal | None = None
    height_cm: Decimal | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RoundingRule:
    """How doses of one substance are rounded: to multiples of ``step_mg`` [mg, > 0].

    ``max_difference_frac`` [fraction, 0 to 1] is the most that rounding may change; ``source`` says whose
    rule it is.
    """

    step_mg: Decimal
    source: str
    max_difference_frac: Decimal = MAX_DIFFERENCE_FRAC


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderedDose:
    """One dose as it is signed: worked out, capped and rounded, with what each step changed.

    ``uncapped_mg`` and ``calculated_mg`` [mg] before and after the cap; ``ordered_mg`` [mg] what is made;
    ``difference_frac`` [fraction] ordered against calculated; ``bsa_m2`` [m2] where it was used.
    """

    prescribed: DoseAmount
    uncapped_mg: Decimal
    calculated_mg: Decimal
    ordered_mg: Decimal
    difference_frac: Decimal
    cap_mg: Decimal | None = None
    bsa_m2: Decimal | None = None

    @property
    def text(self) -> str:
        """What the prescriber and the pharmacist sign: "28.1 mg calculated, 28 mg ordered, -0.4 %"."""
        ordered = f"{format_number(self.ordered_mg)} mg ordered"
        if self.prescribed.basis is Basis.ABSOLUTE and self.uncapped_mg == self.ordered_mg:
            return ordered
        capped = f", capped at {format_number(self.calculated_mg)} mg" if self._is_capped else ""
        calculated = f"{format_number(_SHOWN.plus(self.uncapped_mg))} mg calculated{capped}"
        return f"{calculated}, {ordered}, {_percent(self.difference_frac)}"

    @property
    def _is_capped(self) -> bool:
        return self.uncapped_mg != self.calculated_mg


@formula(
    "bsa",
    inputs={"height_cm": "cm, 20 to 260", "weight_kg": "kg, 0.2 to 500"},
    source="Mosteller RD, Simplified calculation of body-surface area, N Engl J Med 1987;317:1098",
)
def bsa_m2(height_cm: Decimal | float, weight_kg: Decimal | float) -> Decimal:
    """Return the body surface area by Mosteller's formula, sqrt(height x weight / 3600), in m2.

    ``height_cm`` [cm, 20 to 260], ``weight_kg`` [kg, 0.2 to 500]; 12 significant digits. Raises BadInput
    outside. Source: Mosteller RD, N Engl J Med 1987;317:1098.

    >>> bsa_m2(Decimal(180), Decimal(80))
    Decimal('2')
    """
    height = _within(height_cm, 20, 260, field="height_cm", unit="cm")
    weight = _within(weight_kg, "0.2", 500, field="weight_kg", unit="kg")
    return plain((height * weight / _MOSTELLER).sqrt(_CONTEXT))


def order_dose(
    prescribed: DoseAmount,
    *,
    field: str,
    body: BodySize | None = None,
    rule: RoundingRule | None = None,
    cap_mg: Decimal | None = None,
) -> OrderedDose:
    """Return the dose that is ordered for what was prescribed.

    A dose given in mg is ordered as written: rounding it would change what the prescriber signed. A dose
    per kg or per m2 is worked out to 1 ng, needs ``body`` and the substance's ``rule`` and is rounded half
    up once, at the end; where that would pass ``cap_mg`` [mg, > 0] it is rounded down. Raises BadInput on
    ``field`` where a measure or the rule is missing, where a dose in mg has a cap, or where rounding
    changes too much.
    """
    if cap_mg is not None and prescribed.basis is Basis.ABSOLUTE:
        message = "a cap belongs to a dose per kg or per m2; a dose in mg is ordered as written"
        raise BadInput.because(field, message, value=decimal_text(cap_mg), accepted="no cap", rule="cap")
    uncapped, surface = _calculated_mg(prescribed, body or BodySize(), field=field)
    calculated = uncapped if cap_mg is None else min(uncapped, cap_mg)
    ordered = calculated
    if prescribed.basis is not Basis.ABSOLUTE:
        ordered = _rounded_mg(calculated, _rule_of(rule, field=field), cap_mg=cap_mg, field=field)
    return OrderedDose(
        prescribed=prescribed,
        uncapped_mg=uncapped,
        calculated_mg=calculated,
        ordered_mg=ordered,
        difference_frac=plain(_CONTEXT.divide(ordered - calculated, calculated)),
        cap_mg=cap_mg,
        bsa_m2=surface,
    )


def _calculated_mg(dose: DoseAmount, body: BodySize, *, field: str) -> tuple[Decimal, Decimal | None]:
    if dose.basis is Basis.ABSOLUTE:
        return dose.value_mg, None
    if body.weight_kg is None:
        raise BadInput.because(
            field,
            f"a dose in {dose.unit} needs the patient's weight",
            value=dose.text,
            accepted="a weight in kg with its date, or a dose in mg",
            rule="weight-missing",
        )
    if dose.basis is Basis.PER_KG:
        return to_nanogram(dose.value_mg * body.weight_kg), None
    if body.height_cm is None:
        raise BadInput.because(
            field,
            f"a dose in {dose.unit} needs the patient's height",
            value=dose.text,
            accepted="a height in cm with its date, or a dose in mg",
            rule="height-missing",
        )
    surface = bsa_m2(body.height_cm, body.weight_kg)
    return to_nanogram(dose.value_mg * surface), surface


def to_nanogram(mass_mg: Decimal) -> Decimal:
    """Return ``mass_mg`` [mg] to six places, half up: the finest that doses and limits are kept to."""
    return plain(mass_mg.quantize(_FINEST_MG, rounding=ROUND_HALF_UP))


def _rule_of(rule: RoundingRule | None, *, field: str) -> RoundingRule:
    if rule is None:
        raise BadInput.because(
            field,
            "the substance has no rounding rule, so a calculated dose cannot be ordered",
            accepted="a dose in mg",
            rule="no-rounding-rule",
        )
    return rule


def _rounded_mg(calculated_mg: Decimal, rule: RoundingRule, *, cap_mg: Decimal | None, field: str) -> Decimal:
    steps = calculated_mg / rule.step_mg
    rounded = steps.quantize(Decimal(1), rounding=ROUND_HALF_UP) * rule.step_mg
    if cap_mg is not None and rounded > cap_mg:
        rounded = steps.quantize(Decimal(1), rounding=ROUND_DOWN) * rule.step_mg
    if abs(rounded - calculated_mg) > rule.max_difference_frac * calculated_mg:
        raise BadInput.because(
            field,
            f"rounding to {decimal_text(rule.step_mg)} mg would change the dose too much",
            value=decimal_text(calculated_mg),
            limit=decimal_text(rule.max_difference_frac * 100),
            unit="%",
            accepted=f"a dose that lies nearer to a multiple of {decimal_text(rule.step_mg)} mg",
            rule="rounding-too-coarse",
        )
    return plain(rounded)


def _within(value: Decimal | float, low: int | str, high: int, *, field: str, unit: str) -> Decimal:
    number = Decimal(str(value))
    if not (number.is_finite() and Decimal(low) <= number <= high):
        limit = f"{low} to {high}"
        message = f"the value is outside {limit} {unit}"
        raise BadInput.because(field, message, value=str(value), limit=limit, unit=unit, rule="out-of-bounds")
    return number


def _percent(difference_frac: Decimal) -> str:
    percent = difference_frac * 100
    if percent == 0:
        return "0 %"
    shown = round(percent, 1)
    if shown == 0:
        return "under 0.1 % up" if percent > 0 else "under 0.1 % down"
    sign = "-" if shown < 0 else "+"
    return f"{sign}{format_number(abs(shown))} %"
