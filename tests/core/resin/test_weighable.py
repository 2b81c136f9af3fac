"""What a balance could weigh, by hand, and the factor of an ester from atomic weights."""

from __future__ import annotations

from decimal import Decimal

import pytest

from dosewright.ground.pure.errors import BadInput
from printing.core.resin.compounding import least_weight_mg
from printing.core.resin.potency import Assay, AssayBasis, DrugForm, ExpressedAs, form_factor, potency_of
from printing.core.resin.weighable import remedy_for, too_little
from tests.core.vectors import load

HAND = load("compounding")["remedy"]
ESTER = load("compounding")["fludrocortisone_acetate"]


def test_the_lot_and_the_premix_that_could_be_weighed_by_hand() -> None:
    least = least_weight_mg(HAND["sd_mg"], HAND["readability_mg"])
    assert least == Decimal(HAND["least_mg"])
    found = remedy_for(HAND["mass_frac"], HAND["target_g"], least)
    assert (found.lot_g, found.premix_percent) == (Decimal(HAND["lot_g"]), Decimal(HAND["premix_percent"]))
    # What it offers can really be weighed, and a tenth of a gram or a hundredth of a percent beyond it cannot.
    share, target = Decimal(HAND["mass_frac"]), Decimal(HAND["target_g"])
    assert 1000 * share * found.lot_g >= least > 1000 * share * (found.lot_g - Decimal("0.1"))
    asked = 1000 * share * target
    assert asked / (found.premix_percent / 100) >= least > asked / ((found.premix_percent + Decimal("0.01")) / 100)


def test_the_refusal_names_ingredient_value_limit_and_both_ways_out() -> None:
    share, target = Decimal(HAND["mass_frac"]), Decimal(HAND["target_g"])
    refused = too_little("a drug", mass_frac=share, target_g=target, weight_mg=Decimal("24.3"), least_mg=Decimal(40))
    assert (refused.field, refused.value, refused.limit, refused.unit) == ("a drug", "24.3", "40", "mg")
    assert refused.accepted == f"a lot of {HAND['lot_g']} g or more, a premix that holds at most " + (
        f"{HAND['premix_percent']} % of it, or a finer balance"
    )


@pytest.mark.parametrize("wrong", ["0", "-1", "NaN", "Infinity"])
def test_shares_and_masses_are_positive(wrong: str) -> None:
    for values in ((wrong, "1", "1"), ("0.1", wrong, "1"), ("0.1", "1", wrong)):
        with pytest.raises(BadInput):
            remedy_for(*values)


def test_the_factor_of_the_acetate_follows_from_standard_atomic_weights() -> None:
    weights = {name: Decimal(value) for name, value in ESTER["atomic_weights"].items()}

    def molar_mass(formula: dict[str, int]) -> Decimal:
        return sum((count * weights[element] for element, count in formula.items()), Decimal(0))

    moiety, form = molar_mass(ESTER["moiety"]), molar_mass(ESTER["form"])
    assert (moiety, form) == (Decimal(ESTER["molar_mass_moiety"]), Decimal(ESTER["molar_mass_form"]))
    factor = form_factor(DrugForm(molar_mass_form=form, molar_mass_moiety=moiety))
    assert float(factor) == pytest.approx(ESTER["factor"], abs=1e-6)
    # 0.1 mg of the acetate holds 90 micrograms of fludrocortisone, not 100.
    assert float(Decimal("0.1") * factor) == pytest.approx(0.09005, abs=1e-6)


FORM = DrugForm(
    molar_mass_form=Decimal(ESTER["molar_mass_form"]), molar_mass_moiety=Decimal(ESTER["molar_mass_moiety"])
)


def premix_assay(percent: str, **changes: object) -> Assay:
    given: dict[str, object] = {
        "percent": Decimal(percent),
        "basis": AssayBasis.AS_IS,
        "expressed_as": ExpressedAs.FORM,
        "nominal_frac": Decimal("0.01"),
    }
    return Assay(**{**given, **changes})  # type: ignore[arg-type]


def test_a_premix_of_one_percent_holds_a_hundredth_of_its_drug() -> None:
    found = potency_of(premix_assay("0.992"), FORM)
    assert float(found.frac) == pytest.approx(0.00992 * ESTER["factor"], rel=1e-6)
    assert len(found.steps) == 2
    as_moiety = potency_of(premix_assay("0.9", expressed_as=ExpressedAs.MOIETY), FORM)
    assert as_moiety.frac == Decimal("0.009")


@pytest.mark.parametrize(
    ("percent", "changes"),
    [
        ("0.79", {}),
        ("1.11", {}),
        ("99.2", {}),
        ("0.992", {"nominal_frac": Decimal(1)}),
        ("1.0", {"expressed_as": ExpressedAs.MOIETY}),
        ("0.992", {"basis": AssayBasis.ANHYDROUS, "water_percent": Decimal(1)}),
    ],
)
def test_an_assay_far_from_what_was_meant_is_refused(percent: str, changes: dict[str, object]) -> None:
    with pytest.raises(BadInput):
        potency_of(premix_assay(percent, **changes), FORM)
