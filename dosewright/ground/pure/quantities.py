"""The closed table of units that are taken, and how a dose, a weight and a height are read.

Codes are those of UCUM 2.2 (case sensitive); kinds are our own, because to a general units library
``mg/kg`` and ``[iU]`` are plain numbers and ``Mg`` is a harmless megagram (R-56, R-57). What stands in no
table is refused with the nearest honest spelling; nothing is converted in silence. Factors are exact
decimals (SI prefixes; the international pound and inch of 1959), so no units library is needed here.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Final

from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.errors import BadInput

MAX_DOSE_DIGITS: Final = 12
MAX_DOSE_PLACES: Final = 6
"""Most digits of a dose as written, and most decimal places in mg; the house's, for exact storage."""

KG_PER_POUND: Final = Decimal("0.45359237")
CM_PER_INCH: Final = Decimal("2.54")
"""International yard and pound agreement of 1959; both factors are exact."""


class Kind(StrEnum):
    """What a unit measures; only units of one kind convert into each other."""

    MASS = "mass"
    MASS_PER_BODY_MASS = "mass per body mass"
    MASS_PER_BODY_SURFACE = "mass per body surface"
    LENGTH = "length"
    BODY_SURFACE = "body surface"
    VOLUME = "volume"
    DURATION = "duration"
    ARBITRARY = "arbitrary unit"


class Basis(StrEnum):
    """What a dose or a limit is given per."""

    ABSOLUTE = "absolute"
    PER_KG = "per kg"
    PER_M2 = "per m2"


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """An accepted unit code; ``factor`` turns it into the first unit of its kind in the table."""

    code: str
    kind: Kind
    factor: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseAmount:
    """A dose as prescribed: ``value_mg`` [mg, mg/kg or mg/m2 by ``basis``, > 0]."""

    value_mg: Decimal
    basis: Basis

    @property
    def unit(self) -> str:
        """The unit code of ``value_mg``."""
        return _UNIT_OF[self.basis]

    @property
    def text(self) -> str:
        """The amount as it is read back by `parse_dose_amount`."""
        return f"{decimal_text(self.value_mg)} {self.unit}"


_UNIT_OF: Final = {Basis.ABSOLUTE: "mg", Basis.PER_KG: "mg/kg", Basis.PER_M2: "mg/m2"}
_BASIS_OF: Final = {
    Kind.MASS: Basis.ABSOLUTE,
    Kind.MASS_PER_BODY_MASS: Basis.PER_KG,
    Kind.MASS_PER_BODY_SURFACE: Basis.PER_M2,
}


_MASS_PER_KG, _MASS_PER_M2 = Kind.MASS_PER_BODY_MASS, Kind.MASS_PER_BODY_SURFACE

UNITS: Final[dict[str, Unit]] = {
    code: Unit(code=code, kind=kind, factor=Decimal(factor))
    for code, kind, factor in (
        ("mg", Kind.MASS, "1"),
        ("ug", Kind.MASS, "0.001"),
        ("g", Kind.MASS, "1000"),
        ("kg", Kind.MASS, "1000000"),
        ("mg/kg", _MASS_PER_KG, "1"),
        ("ug/kg", _MASS_PER_KG, "0.001"),
        ("mg/m2", _MASS_PER_M2, "1"),
        ("ug/m2", _MASS_PER_M2, "0.001"),
        ("g/m2", _MASS_PER_M2, "1000"),
        ("cm", Kind.LENGTH, "1"),
        ("mm", Kind.LENGTH, "0.1"),
        ("m", Kind.LENGTH, "100"),
        ("m2", Kind.BODY_SURFACE, "1"),
        ("mL", Kind.VOLUME, "1"),
        ("uL", Kind.VOLUME, "0.001"),
        ("L", Kind.VOLUME, "1000"),
        ("[iU]", Kind.ARBITRARY, "1"),
    )
}

DOSE_UNITS: Final = ("ug", "mg", "g")
DOSE_UNITS_BY_SIZE: Final = (*DOSE_UNITS, "ug/kg", "mg/kg", "ug/m2", "mg/m2", "g/m2")
WEIGHT_UNITS: Final = ("kg", "g")
HEIGHT_UNITS: Final = ("cm", "m", "mm")

_MICROGRAM: Final = "ug (the UCUM code of the microgram)"
_NO_IU: Final = "a mass such as mg; units of activity have no mass of their own, so none is worked out"
MISTAKEN: Final[dict[str, str]] = {
    "Mg": "mg (Mg is a megagram, a thousand million mg)",
    "MG": "mg (unit codes are case sensitive)",
    "mgs": "mg",
    "milligram": "mg",
    "milligrams": "mg",
    "mcg": _MICROGRAM,
    "MCG": _MICROGRAM,
    "\u00b5g": _MICROGRAM,
    "\u03bcg": _MICROGRAM,
    "microgram": _MICROGRAM,
    "micrograms": _MICROGRAM,
    "UG": _MICROGRAM,
    "ng": "ug (1000 ng are 1 ug)",
    "G": "g (G is the gauss)",
    "gm": "g",
    "gr": "g (gr is read as grain)",
    "gram": "g",
    "grams": "g",
    "IU": _NO_IU,
    "iu": _NO_IU,
    "U": _NO_IU,
    "u": _NO_IU,
    "[IU]": _NO_IU,
    "units": _NO_IU,
    "cc": "mL (for volumes; a dose is a mass such as mg)",
    "ml": "mL (for volumes; a dose is a mass such as mg)",
    "%": "a mass such as mg",
    "mg/kg/d": "mg/kg per dose, at its clock times",
    "mg/kg/day": "mg/kg per dose, at its clock times",
    "mg/(kg.d)": "mg/kg per dose, at its clock times",
    "mg/m2/d": "mg/m2 per dose, at its clock times",
    "mg/m2/day": "mg/m2 per dose, at its clock times",
    "mg/(m2.d)": "mg/m2 per dose, at its clock times",
    "mg/m\u00b2": "mg/m2",
    "mg/d": "mg per dose, at its clock times",
    "mg/day": "mg per dose, at its clock times",
}
"""Spellings that are met and not taken, with what to write instead (ISMP list, UCUM 2.2)."""

_POUNDS: Final = frozenset({"lb", "lbs", "[lb_av]", "pound", "pounds", "#"})
_INCHES: Final = frozenset({"in", "[in_i]", "inch", "inches", '"'})
_NUMBER: Final = re.compile(r"(?:0|[1-9][0-9]*)(?:\.[0-9]+)?")
_AMOUNT: Final = re.compile(r"(?P<number>[^ ]*?[0-9.,])? ?(?P<unit>[^0-9., ][^ ]*)?")
_DOSE_BOUNDS_MG: Final = (Decimal("0.000001"), Decimal("1000000"))
_WEIGHT_BOUNDS_KG: Final = (Decimal("0.2"), Decimal("500"))
_HEIGHT_BOUNDS_CM: Final = (Decimal("20"), Decimal("260"))
_SHOWN: Final = 40
_BODY_PLACES: Final = 3
"""Most decimal places of a weight in kg or a height in cm; finer is a slip [places]."""
_LONGEST: Final = 200
"""Longer text can be no amount; cutting it here keeps the match linear [characters]."""


def unit_of(code: str, *, field: str, accepted: tuple[str, ...] = tuple(UNITS)) -> Unit:
    """Return the table's unit for ``code``, which must be one of ``accepted``.

    Raises BadInput that names the honest spelling where the code is a known mistake.
    """
    if code in accepted:
        return UNITS[code]
    listed = ", ".join(accepted)
    if code in MISTAKEN:
        listed = f"{MISTAKEN[code]}; one of {listed}"
    elif code in UNITS:
        kind = UNITS[code].kind
        if kind is Kind.ARBITRARY:
            listed = f"{_NO_IU}; one of {listed}"
        message = f"the unit {code} ({kind}) is not taken here"
        raise BadInput.because(field, message, value=code, accepted=listed, rule="unit")
    message = "the unit is not one that is taken" if code else "the unit is missing"
    raise BadInput.because(field, message, value=_shown(code), accepted=listed, rule="unit")


def convert(value: Decimal, source: str, target: str, *, field: str = "unit") -> Decimal:
    """Return ``value`` of unit ``source`` in unit ``target``; both are codes of one kind in `UNITS`.

    The result is exact as long as it has at most 28 digits. Raises BadInput between kinds and for unknown
    codes. Factors: SI Brochure, 9th edition (2019), table 7.
    """
    given, wanted = unit_of(source, field=field), unit_of(target, field=field)
    if given.kind is not wanted.kind:
        message = f"{source} ({given.kind}) does not convert into {target} ({wanted.kind})"
        raise BadInput.because(field, message, value=source, accepted=_codes(wanted.kind), rule="unit")
    return plain(value * given.factor / wanted.factor)


def parse_dose(text: object, *, field: str) -> Decimal:
    """Return the dose in mg [mg, 1e-6 to 1e6, at most 12 digits as written] of a text such as "2.5 mg".

    Raises BadInput for anything but a plain positive decimal and one of `DOSE_UNITS`.
    """
    return _amount(text, field=field, accepted=DOSE_UNITS).value_mg


def parse_dose_amount(text: object, *, field: str) -> DoseAmount:
    """Return the dose of a text such as "2.5 mg", "2 mg/kg" or "60 mg/m2"; otherwise as `parse_dose`."""
    return _amount(text, field=field, accepted=DOSE_UNITS_BY_SIZE)


def parse_weight_kg(value: object, unit: object, *, field: str) -> Decimal:
    """Return a body weight in kg [kg, 0.2 to 500] given as decimal text with kg or g.

    Pounds are refused with the conversion shown, never converted: the slip of pound for kilogram must be
    mended where it was made.
    """
    return _body_size(value, unit, field=field, target="kg", accepted=WEIGHT_UNITS)


def parse_height_cm(value: object, unit: object, *, field: str) -> Decimal:
    """Return a body height in cm [cm, 20 to 260] given as decimal text with cm, m or mm; inches refused."""
    return _body_size(value, unit, field=field, target="cm", accepted=HEIGHT_UNITS)


def parse_decimal(text: object, *, field: str) -> Decimal:
    """Return the positive decimal [> 0, at most 12 digits] written as digits with at most one point."""
    if not isinstance(text, str):
        message = "the number must be written as text, so that no digit is lost"
        accepted = 'text such as "2.5"'
        raise BadInput.because(field, message, value=_shown(str(text)), accepted=accepted, rule="number")
    if not _NUMBER.fullmatch(text):
        raise BadInput.because(
            field, _why_no_number(text), value=_shown(text), accepted='such as "2.5" or "0.5"', rule="number"
        )
    digits = text.replace(".", "").lstrip("0")
    if not digits:
        raise BadInput.because(field, "zero is not taken", value=text, accepted="a number over 0", rule="number")
    if len(digits) > MAX_DOSE_DIGITS:
        raise BadInput.because(
            field,
            "the number has too many digits",
            value=_shown(text),
            limit=str(MAX_DOSE_DIGITS),
            unit="digit",
            accepted=f"at most {MAX_DOSE_DIGITS} digits",
            rule="digits",
        )
    return plain(Decimal(text))


def plain(value: Decimal) -> Decimal:
    """Return ``value`` [finite] without exponent and trailing zeros, so that equal values look equal."""
    return Decimal(decimal_text(value))


def _amount(text: object, *, field: str, accepted: tuple[str, ...]) -> DoseAmount:
    if not isinstance(text, str):
        message = "a dose is text with its unit, so that no digit is lost"
        example = 'text such as "2.5 mg"'
        raise BadInput.because(field, message, value=_shown(str(text)), accepted=example, rule="number")
    match = _AMOUNT.fullmatch(text[:_LONGEST])
    if match is None or not match["number"] or len(text) > _LONGEST:
        example = f'a number and a unit such as "2.5 mg"; units {", ".join(accepted)}'
        raise BadInput.because(field, _why_no_number(text), value=_shown(text), accepted=example, rule="number")
    number = parse_decimal(match["number"], field=field)
    unit = unit_of(match["unit"] or "", field=field, accepted=accepted)
    dose = plain(number * unit.factor)
    _check_places(dose, MAX_DOSE_PLACES, unit="mg", field=field)
    _check_bounds(dose, _DOSE_BOUNDS_MG, unit=_UNIT_OF[_BASIS_OF[unit.kind]], field=field)
    return DoseAmount(value_mg=dose, basis=_BASIS_OF[unit.kind])


def _body_size(value: object, unit: object, *, field: str, target: str, accepted: tuple[str, ...]) -> Decimal:
    number = parse_decimal(value, field=f"{field}.value")
    code = unit if isinstance(unit, str) else ""
    _refuse_foreign(number, code, field=f"{field}.unit", accepted=accepted)
    unit_of(code, field=f"{field}.unit", accepted=accepted)
    size = convert(number, code, target, field=f"{field}.unit")
    _check_places(size, _BODY_PLACES, unit=target, field=f"{field}.value")
    bounds = _WEIGHT_BOUNDS_KG if target == "kg" else _HEIGHT_BOUNDS_CM
    _check_bounds(size, bounds, unit=target, field=f"{field}.value")
    return size


def _refuse_foreign(number: Decimal, code: str, *, field: str, accepted: tuple[str, ...]) -> None:
    for codes, factor, target in ((_POUNDS, KG_PER_POUND, "kg"), (_INCHES, CM_PER_INCH, "cm")):
        if code in codes and target in accepted:
            shown = f"{decimal_text(number)} {code} would be {decimal_text(round(number * factor, 2))} {target}"
            message = f"{code} is not taken and never converted in silence: {shown}"
            raise BadInput.because(field, message, value=code, accepted=", ".join(accepted), rule="unit")


def _check_places(value: Decimal, most: int, *, unit: str, field: str) -> None:
    if len(decimal_text(value).partition(".")[2]) > most:
        raise BadInput.because(
            field,
            "the value is finer than can be kept",
            value=decimal_text(value),
            limit=str(most),
            unit="decimal place",
            accepted=f"at most {most} decimal places in {unit}",
            rule="digits",
        )


def _check_bounds(value: Decimal, bounds: tuple[Decimal, Decimal], *, unit: str, field: str) -> None:
    low, high = bounds
    if low <= value <= high:
        return
    limit = f"{decimal_text(low)} to {decimal_text(high)}"
    message = f"the value is outside what can be entered at all ({limit} {unit})"
    raise BadInput.because(
        field,
        message,
        value=decimal_text(value),
        limit=limit,
        unit=unit,
        accepted=limit,
        rule="out-of-bounds",
    )


def _why_no_number(text: str) -> str:
    """Name the commonest reasons, so that the sender need not guess."""
    number = text.strip().lower()
    if number.startswith(("nan", "inf", "+inf", "-inf")):
        return "this is no finite number"
    if number.startswith(("-", "\u2212")):
        return "a negative number is not taken"
    if "," in number:
        return "commas are not taken, neither for thousands nor for decimals"
    if re.match(r"[0-9.]+e[+-]?[0-9]", number):
        return "exponents are not taken"
    if number.startswith("."):
        return "the zero before the decimal point is missing"
    return "this is no plain decimal number"


def _codes(kind: Kind) -> str:
    return ", ".join(code for code, unit in UNITS.items() if unit.kind is kind)


def _shown(text: str) -> str:
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}... ({len(text)} characters)"
