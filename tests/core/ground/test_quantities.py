"""Units: the closed table against UCUM and a units library; every refused spelling says what to write."""

from __future__ import annotations

from decimal import Decimal

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.errors import BadInput, Refusal
from dosewright.ground.pure.quantities import (
    DOSE_UNITS,
    MISTAKEN,
    UNITS,
    Basis,
    Kind,
    convert,
    parse_decimal,
    parse_dose,
    parse_dose_amount,
    parse_height_cm,
    parse_weight_kg,
    unit_of,
)
from tests.core.vectors import load

VECTORS = load("units")


def refusal_of(error: pytest.ExceptionInfo[BadInput]) -> Refusal:
    (only,) = error.value.refusals
    return only


@pytest.mark.parametrize("code", VECTORS["known"])
def test_known_codes(code: str) -> None:
    assert unit_of(code, field="unit").code == code


def test_the_table_holds_nothing_else() -> None:
    assert set(UNITS) == set(VECTORS["known"])


@pytest.mark.parametrize("code", VECTORS["unknown"])
def test_unknown_codes_are_refused(code: str) -> None:
    with pytest.raises(BadInput) as caught:
        unit_of(code, field="unit")
    only = refusal_of(caught)
    assert only.field == "unit"
    assert only.accepted
    if code in MISTAKEN:
        assert MISTAKEN[code] in only.accepted


def test_no_mistake_is_in_the_table() -> None:
    assert not set(MISTAKEN) & set(UNITS)


@pytest.mark.parametrize("case", VECTORS["conversion"], ids=lambda case: f"{case['source']}-{case['target']}")
def test_conversions(case: dict[str, str]) -> None:
    found = convert(Decimal(case["value"]), case["source"], case["target"])
    assert found == Decimal(case["expected"])
    assert str(found) == case["expected"]


PINT_NAMES = {
    "mg": "milligram",
    "ug": "microgram",
    "g": "gram",
    "kg": "kilogram",
    "mg/kg": "milligram/kilogram",
    "ug/kg": "microgram/kilogram",
    "mg/m2": "milligram/meter**2",
    "ug/m2": "microgram/meter**2",
    "g/m2": "gram/meter**2",
    "cm": "centimeter",
    "mm": "millimeter",
    "m": "meter",
    "m2": "meter**2",
    "mL": "milliliter",
    "uL": "microliter",
    "L": "liter",
}


def test_every_factor_agrees_with_a_units_library() -> None:
    registry = pint.UnitRegistry(non_int_type=Decimal)
    compared = 0
    for code, unit in UNITS.items():
        for other in (one for one in UNITS.values() if one.kind is unit.kind and code in PINT_NAMES):
            expected = registry.Quantity(Decimal(1), PINT_NAMES[code]).to(PINT_NAMES[other.code]).magnitude
            assert convert(Decimal(1), code, other.code) == pytest.approx(expected, rel=Decimal("1e-25"))
            compared += 1
    assert compared == 4 * 4 + 2 * 2 + 3 * 3 + 3 * 3 + 1 + 3 * 3
    assert set(PINT_NAMES) | {"[iU]"} == set(UNITS)


def test_a_megagram_is_no_slip_to_a_library_but_refused_here() -> None:
    # 1 Mg = 1e9 mg to a library.
    assert pint.UnitRegistry().Quantity(1, "Mg").to("mg").magnitude == pytest.approx(1e9)
    with pytest.raises(BadInput) as caught:
        parse_dose("1 Mg", field="dose")
    assert "megagram" in (refusal_of(caught).accepted or "")


@pytest.mark.parametrize(("source", "target"), [("mg", "mL"), ("mg/kg", "mg"), ("[iU]", "mg"), ("mg", "mcg")])
def test_kinds_do_not_convert(source: str, target: str) -> None:
    with pytest.raises(BadInput):
        convert(Decimal(1), source, target)


@pytest.mark.parametrize("case", VECTORS["dose"], ids=lambda case: case["text"])
def test_doses_taken(case: dict[str, str]) -> None:
    assert str(parse_dose(case["text"], field="dose")) == case["mg"]


@pytest.mark.parametrize("case", VECTORS["refused"], ids=lambda case: repr(case["text"]))
def test_doses_refused(case: dict[str, str]) -> None:
    with pytest.raises(BadInput) as caught:
        parse_dose(case["text"], field="regimen.steps[0].dose")
    only = refusal_of(caught)
    assert case["says"] in only.message
    assert only.field == "regimen.steps[0].dose"
    assert only.accepted


@pytest.mark.parametrize("value", [5, 2.5, Decimal("2.5"), None, True, ["3 mg"], {"value": "3"}])
def test_a_dose_that_is_no_text_is_refused(value: object) -> None:
    with pytest.raises(BadInput) as caught:
        parse_dose(value, field="dose")
    assert "text" in refusal_of(caught).message


@pytest.mark.parametrize("text", ["9" * 1_000_000 + " mg", "1a" * 400_000 + " x y", "1 " + "mg" * 400_000])
def test_endless_text_is_refused_shortly(text: str) -> None:
    with pytest.raises(BadInput) as caught:
        parse_dose(text, field="dose")
    assert len(refusal_of(caught).value or "") < 80


@pytest.mark.parametrize(
    ("text", "mg", "basis"),
    [
        ("3 mg", "3", Basis.ABSOLUTE),
        ("2 mg/kg", "2", Basis.PER_KG),
        ("50 ug/kg", "0.05", Basis.PER_KG),
        ("60 mg/m2", "60", Basis.PER_M2),
        ("1.5 g/m2", "1500", Basis.PER_M2),
    ],
)
def test_amounts_by_body_size(text: str, mg: str, basis: Basis) -> None:
    amount = parse_dose_amount(text, field="dose")
    assert (str(amount.value_mg), amount.basis) == (mg, basis)
    assert parse_dose_amount(amount.text, field="dose") == amount


def test_weights() -> None:
    assert parse_weight_kg("16.2", "kg", field="w") == Decimal("16.2")
    assert str(parse_weight_kg("3500", "g", field="w")) == "3.5"
    assert parse_weight_kg("0.2", "kg", field="w") == Decimal("0.2")
    assert parse_weight_kg("500", "kg", field="w") == Decimal("500")


@pytest.mark.parametrize("unit", ["lb", "lbs", "[lb_av]", "pounds"])
def test_pounds_are_refused_with_the_conversion_shown(unit: str) -> None:
    # 35 lb x 0.45359237 kg/lb = 15.87573295 kg (international pound, 1959)
    with pytest.raises(BadInput) as caught:
        parse_weight_kg("35", unit, field="patient.weight")
    only = refusal_of(caught)
    assert "15.88 kg" in only.message
    assert (only.field, only.value, only.accepted) == ("patient.weight.unit", unit, "kg, g")


def test_inches_are_refused_with_the_conversion_shown() -> None:
    with pytest.raises(BadInput, match=r"101\.6 cm"):
        parse_height_cm("40", "in", field="patient.height")
    assert parse_height_cm("1.01", "m", field="h") == Decimal("101")


@pytest.mark.parametrize(
    ("value", "unit", "place"),
    [
        ("16.2", "mg", "w.unit"),
        ("16.2", None, "w.unit"),
        ("16.2", "Kg", "w.unit"),
        ("16,2", "kg", "w.value"),
        ("NaN", "kg", "w.value"),
        ("-16", "kg", "w.value"),
        ("0", "kg", "w.value"),
        (16.2, "kg", "w.value"),
        ("500.001", "kg", "w.value"),
        ("0.199", "kg", "w.value"),
        ("16.2345", "kg", "w.value"),
    ],
)
def test_weights_refused(value: object, unit: object, place: str) -> None:
    with pytest.raises(BadInput) as caught:
        parse_weight_kg(value, unit, field="w")
    assert refusal_of(caught).field == place


@given(st.decimals("0.000001", "999999.999999", places=6))
def test_every_dose_survives_writing_and_reading(dose_mg: Decimal) -> None:
    assert parse_dose(f"{decimal_text(dose_mg)} mg", field="dose") == dose_mg


@given(st.text(max_size=30))
def test_no_text_is_taken_by_accident(text: str) -> None:
    try:
        dose_mg = parse_dose(text, field="dose")
    except BadInput:
        return
    number = text.rstrip("mgu ")
    assert dose_mg > 0
    assert parse_decimal(number, field="dose") in {dose_mg, dose_mg * 1000, dose_mg / 1000}


def test_dose_units_are_masses_in_the_table() -> None:
    assert all(UNITS[code].kind is Kind.MASS for code in DOSE_UNITS)
