"""Resin strength by hand, and every way to correct an assay twice refused."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from dosewright.ground.pure.errors import BadInput
from printing.core.dose.uncertainty import Input
from printing.core.resin.compounding import (
    Weighed,
    least_weight_mg,
    lot_verdict,
    mixture_density,
    resin_strength,
    strength_budget,
    weighing_refusals,
)
from printing.core.resin.potency import (
    Assay,
    AssayBasis,
    DrugForm,
    ExpressedAs,
    form_factor,
    potency,
    potency_of,
)
from tests.core.vectors import load

VECTORS = load("compounding")
WORKED = VECTORS["worked"]
SALT = DrugForm(
    molar_mass_form=Decimal(WORKED["molar_mass_form"]), molar_mass_moiety=Decimal(WORKED["molar_mass_moiety"])
)
CERTIFICATE = Assay(
    percent=Decimal(WORKED["assay_percent"]),
    basis=AssayBasis.ANHYDROUS,
    expressed_as=ExpressedAs.FORM,
    water_percent=Decimal(WORKED["water_percent"]),
)
SHEET = [
    Weighed(
        ingredient="drug",
        nominal_ug=5_000_000,
        actual_ug=WORKED["drug_ug"],
        potency=potency_of(CERTIFICATE, SALT),
    ),
    Weighed(ingredient="liquid A", nominal_ug=94_000_000, actual_ug=WORKED["others_ug"][0]),
    Weighed(ingredient="initiator", nominal_ug=1_000_000, actual_ug=WORKED["others_ug"][1]),
]


def test_the_worked_lot():
    assert float(form_factor(SALT)) == pytest.approx(WORKED["form_factor"], abs=1e-8)
    assert float(SHEET[0].potency.frac) == pytest.approx(WORKED["potency"], abs=1e-8)
    strength = resin_strength(SHEET)
    assert float(strength.mg_g) == pytest.approx(WORKED["strength_mg_g"], rel=WORKED["rtol"])
    percent = 100 * strength.mg_g / Decimal(WORKED["nominal_mg_g"])
    assert float(percent) == pytest.approx(WORKED["percent_of_nominal"], abs=0.005)
    assert lot_verdict(percent) == "free"
    assert strength.total_ug == 100_000_000


def test_the_chain_is_shown_and_multiplies_to_the_potency():
    steps = SHEET[0].potency.steps
    assert [one.what.split()[0] for one in steps] == ["assay", "less", "moiety"]
    product = Decimal(1)
    for step in steps:
        product *= step.factor
        assert step.running_frac == product
    assert SHEET[0].potency.frac == product


def test_each_basis():
    pure = DrugForm(molar_mass_form=Decimal("362.46"), molar_mass_moiety=Decimal("362.46"))
    as_is = replace(CERTIFICATE, basis=AssayBasis.AS_IS, water_percent=None)
    dried = replace(as_is, basis=AssayBasis.DRIED, loss_on_drying_percent=Decimal(2))
    assert potency_of(as_is, pure).frac == Decimal("0.992")
    assert potency_of(dried, pure).frac == Decimal("0.992") * Decimal("0.98")
    assert potency_of(CERTIFICATE, pure).frac == Decimal("0.992") * Decimal("0.985")


def test_an_assay_of_the_moiety_takes_no_form_factor():
    counted = replace(CERTIFICATE, expressed_as=ExpressedAs.MOIETY, percent=Decimal("81.2"))
    assert potency_of(counted, SALT).frac == Decimal("0.812") * Decimal("0.985")
    with pytest.raises(BadInput):  # of a form that is 81.9 % base nothing holds 99.2 % base
        potency_of(replace(counted, percent=Decimal("99.2")), SALT)


def test_two_moieties_in_one_form():
    hemi = DrugForm(molar_mass_form=Decimal(500), molar_mass_moiety=Decimal(200), moieties_per_form=2)
    assert form_factor(hemi) == Decimal("0.8")
    with pytest.raises(BadInput):
        form_factor(replace(hemi, moieties_per_form=3))
    with pytest.raises(BadInput):
        form_factor(replace(hemi, moieties_per_form=0))


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"basis": AssayBasis.AS_IS}, "basis"),
        ({"basis": AssayBasis.AS_IS, "water_percent": None, "loss_on_drying_percent": Decimal(1)}, "basis"),
        ({"water_percent": None}, "water_percent"),
        ({"loss_on_drying_percent": Decimal(1)}, "water_percent"),
        ({"basis": AssayBasis.DRIED}, "loss_on_drying_percent"),
        ({"basis": AssayBasis.DRIED, "water_percent": None}, "loss_on_drying_percent"),
        ({"percent": Decimal(79)}, "assay"),
        ({"percent": Decimal("110.1")}, "assay"),
        ({"water_percent": Decimal(51)}, "water_percent"),
        ({"water_percent": Decimal(-1)}, "water_percent"),
    ],
)
def test_a_correction_made_twice_or_not_at_all_is_refused(changes, field):
    with pytest.raises(BadInput) as refused:
        potency_of(replace(CERTIFICATE, **changes), SALT)
    assert field in {one.field for one in refused.value.refusals}


def test_crystal_water_is_not_taken_off_twice():
    hydrate = replace(SALT, crystal_waters=1)
    with pytest.raises(BadInput) as refused:
        potency_of(CERTIFICATE, hydrate)
    assert refused.value.refusals[0].field == "form"
    as_is = replace(CERTIFICATE, basis=AssayBasis.AS_IS, water_percent=None)
    assert potency_of(as_is, hydrate).frac == Decimal("0.992") * form_factor(hydrate)


def test_potency_from_plain_words():
    plain = potency("99.2", "anhydrous", "form", "201.70", "165.24", water_percent="1.5")
    assert plain == SHEET[0].potency
    with pytest.raises(BadInput):
        potency("99.2", "wet", "form", "201.70", "165.24")


def test_lot_verdicts():
    case = VECTORS["verdicts"]
    for percent, verdict in zip(case["percent"], case["verdict"], strict=True):
        assert lot_verdict(percent) == verdict
    with pytest.raises(BadInput):
        lot_verdict("0")


@pytest.mark.parametrize(
    ("place", "actual", "refused"),
    [
        (0, 5_050_000, False),
        (0, 5_050_001, True),
        (0, 4_949_999, True),
        (1, 95_880_000, False),
        (1, 95_880_001, True),
        (1, 92_119_999, True),
    ],
)
def test_weighing_tolerances(place, actual, refused):
    sheet = [*SHEET]
    sheet[place] = replace(sheet[place], actual_ug=actual)
    found = weighing_refusals(sheet)
    assert [one.field for one in found] == [sheet[place].ingredient] * refused


def test_least_weight():
    case = VECTORS["least_weight"]
    assert least_weight_mg(case["sd_mg"], case["readability_mg"]) == Decimal(case["least_mg"])
    assert least_weight_mg(case["floor_sd_mg"], case["floor_readability_mg"]) == Decimal(case["floor_least_mg"])
    for sd, interval in (("-1", "0.1"), ("0.1", "0")):
        with pytest.raises(BadInput):
            least_weight_mg(sd, interval)


@pytest.mark.parametrize("name", ["mixture_density", "mixture_density_water"])
def test_mixture_density(name):  # S-35
    case = VECTORS[name]
    parts = [{"mass": m, "density": d} for m, d in zip(case["masses"], case["densities"], strict=True)]
    assert mixture_density(parts) == pytest.approx(case["density"], rel=case["rtol"])


@pytest.mark.parametrize("parts", [[], [{"mass": 0, "density": 1}], [{"mass": 1, "density": float("nan")}]])
def test_no_density_without_parts(parts):
    with pytest.raises(BadInput):
        mixture_density(parts)


def test_strength_budget_by_hand():
    # 1000 p m / (m + M): relative sensitivities are M / (m + M) = 0.9499 for m, minus that for M, 1 for p.
    budget = strength_budget(
        drug_mg=Input(name="m", value=5010.0, standard_uncertainty=2.0, unit="mg"),
        other_mg=Input(name="M", value=94990.0, standard_uncertainty=50.0, unit="mg"),
        potency_frac=Input(name="p", value=0.8005, standard_uncertainty=0.004, unit="mg/mg"),
    )
    expected = ((0.9499 * 2 / 5010) ** 2 + (0.9499 * 50 / 94990) ** 2 + (0.004 / 0.8005) ** 2) ** 0.5
    assert budget.combined / budget.value == pytest.approx(expected, rel=1e-6)
    assert budget.value == pytest.approx(1000 * 0.8005 * 0.0501)


@pytest.mark.parametrize(
    "sheet",
    [
        SHEET[1:],
        [*SHEET, SHEET[1]],
        [replace(SHEET[0], actual_ug=0), *SHEET[1:]],
        [replace(SHEET[0], actual_ug=5.0), *SHEET[1:]],
        [],
    ],
)
def test_a_sheet_without_strength_is_refused(sheet):
    with pytest.raises(BadInput):
        resin_strength(sheet)
