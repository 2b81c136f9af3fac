"""Doses by body size: published body surfaces, the cap rule, one rounding that is always shown."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.formulas import FORMULAS
from dosewright.ground.pure.quantities import DoseAmount, parse_dose_amount
from prescriptions.dosing import BodySize, OrderedDose, RoundingRule, bsa_m2, order_dose
from tests.core.vectors import load

VECTORS = load("body_size")


def rule(step_mg: str, **more: Decimal) -> RoundingRule:
    return RoundingRule(step_mg=Decimal(step_mg), source="invented for the test", **more)


def ordered(
    dose: str,
    *,
    weight: str | None = None,
    height: str | None = None,
    cap: str | None = None,
    step: str = "0.01",
) -> OrderedDose:
    body = BodySize(
        weight_kg=None if weight is None else Decimal(weight),
        height_cm=None if height is None else Decimal(height),
    )
    amount: DoseAmount = parse_dose_amount(dose, field="dose")
    cap_mg = None if cap is None else Decimal(cap)
    return order_dose(amount, field="dose", body=body, rule=rule(step), cap_mg=cap_mg)


@pytest.mark.parametrize("case", VECTORS["bsa"], ids=lambda case: f"{case['height_cm']}/{case['weight_kg']}")
def test_body_surface(case: dict[str, str]) -> None:
    found = bsa_m2(Decimal(case["height_cm"]), Decimal(case["weight_kg"]))
    assert abs(found - Decimal(case["m2"])) <= Decimal("0.000001")
    assert bsa_m2(float(case["height_cm"]), float(case["weight_kg"])) == found


def test_body_surface_is_registered_with_its_source() -> None:
    assert FORMULAS["bsa"].function is bsa_m2
    assert "1987;317:1098" in FORMULAS["bsa"].source


@pytest.mark.parametrize(
    ("height", "weight"),
    [("19.9", "16"), ("260.1", "70"), ("100", "0.19"), ("100", "500.1"), ("NaN", "70"), ("100", "inf")],
)
def test_body_surface_outside_its_range_is_refused(height: str, weight: str) -> None:
    with pytest.raises(BadInput):
        bsa_m2(Decimal(height), Decimal(weight))


@pytest.mark.parametrize("case", VECTORS["capped"], ids=lambda case: f"{case['id']} {case['weight_kg']} kg")
def test_cap_rule(case: dict[str, str]) -> None:
    found = ordered(case["dose"], weight=case["weight_kg"], height=case.get("height_cm"), cap=case["cap_mg"])
    assert abs(found.uncapped_mg - Decimal(case["uncapped_mg"])) <= Decimal("0.0001")
    assert abs(found.calculated_mg - Decimal(case["calculated_mg"])) <= Decimal("0.0001")
    assert found.ordered_mg <= Decimal(case["cap_mg"])
    assert ("capped at 60 mg" in found.text) is (found.uncapped_mg > 60)


@pytest.mark.parametrize("case", VECTORS["rounded"], ids=lambda case: case["text"])
def test_rounding_is_shown(case: dict[str, str]) -> None:
    limit = Decimal("0.2")
    amount = parse_dose_amount(case["dose"], field="dose")
    found = order_dose(
        amount,
        field="dose",
        body=BodySize(weight_kg=Decimal(case["weight_kg"])),
        rule=rule(case["step_mg"], max_difference_frac=limit),
    )
    assert found.ordered_mg == Decimal(case["ordered_mg"])
    assert found.text == case["text"]


def test_a_dose_in_mg_is_ordered_as_written() -> None:
    found = ordered("1.8 mg", step="0.25")
    assert (found.ordered_mg, found.difference_frac, found.text) == (Decimal("1.8"), 0, "1.8 mg ordered")


def test_rounding_never_passes_the_cap() -> None:
    # 2 mg/kg x 5.2 kg = 10.4, capped at 9.8 -> half up would be 10 mg, over the cap: 9 mg.
    found = ordered("2 mg/kg", weight="5.2", cap="9.8", step="1")
    assert (found.calculated_mg, found.ordered_mg) == (Decimal("9.8"), Decimal(9))


@pytest.mark.parametrize(("weight", "taken"), [("4.5", False), ("4.546", True), ("5.5", True), ("5.556", False)])
def test_rounding_by_more_than_a_tenth_is_refused(weight: str, taken: bool) -> None:
    # To a step of 10 mg: 9 mg is 11.1 % off; 9.092 mg 9.99 %; 11 mg 9.09 %; 11.112 mg 10.01 %.
    if taken:
        assert ordered("2 mg/kg", weight=weight, step="10").ordered_mg == 10
        return
    with pytest.raises(BadInput, match="too much") as caught:
        ordered("2 mg/kg", weight=weight, step="10")
    assert caught.value.refusals[0].limit == "10"


def test_rounding_to_nothing_is_refused() -> None:
    with pytest.raises(BadInput, match="too much"):
        ordered("0.1 mg/kg", weight="3", step="1")


@pytest.mark.parametrize(
    ("dose", "weight", "height", "slug"),
    [
        ("2 mg/kg", None, None, "weight-missing"),
        ("2 mg/kg", None, "100", "weight-missing"),
        ("60 mg/m2", "16", None, "height-missing"),
        ("60 mg/m2", None, "100", "weight-missing"),
    ],
)
def test_a_missing_measure_is_refused_by_name(dose: str, weight: str | None, height: str | None, slug: str) -> None:
    with pytest.raises(BadInput) as caught:
        ordered(dose, weight=weight, height=height)
    assert [one.rule for one in caught.value.refusals] == [slug]


def test_a_calculated_dose_without_a_rule_and_a_capped_dose_in_mg_are_refused() -> None:
    amount = parse_dose_amount("2 mg/kg", field="dose")
    with pytest.raises(BadInput, match="no rounding rule"):
        order_dose(amount, field="dose", body=BodySize(weight_kg=Decimal(16)))
    with pytest.raises(BadInput, match="as written"):
        ordered("3 mg", cap="2")


@given(
    st.decimals("0.01", "20", places=2),
    st.decimals("2", "120", places=1),
    st.sampled_from(["0.01", "0.05", "0.25", "0.5"]),
)
def test_the_ordered_dose_is_the_nearest_multiple(per_kg: Decimal, weight_kg: Decimal, step_mg: str) -> None:
    exact_mg, step = per_kg * weight_kg, Decimal(step_mg)
    nearest_mg = (exact_mg / step).quantize(Decimal(1), rounding=ROUND_HALF_UP) * step
    if abs(nearest_mg - exact_mg) > exact_mg / 10:
        with pytest.raises(BadInput, match="too much"):
            ordered(f"{per_kg} mg/kg", weight=str(weight_kg), step=step_mg)
        return
    found = ordered(f"{per_kg} mg/kg", weight=str(weight_kg), step=step_mg)
    assert found.ordered_mg == nearest_mg
    assert found.ordered_mg % Decimal(step_mg) == 0
    assert abs(found.ordered_mg - per_kg * weight_kg) <= Decimal(step_mg) / 2
    assert abs(found.difference_frac) <= Decimal("0.1")
