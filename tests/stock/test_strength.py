"""Strength follows from actual weights and the assay, worked out each time and checked by hand."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.site_values import SiteValues
from printing.core.resin.potency import DrugForm
from printing.stock import queries
from printing.stock.strength import AssayedDrug, CertifiedAssay, WeighedIn, potency_as_weighed, strength_of
from tests.cast import NOW, Bench, Cast, weighed_lot

HYDROCORTISONE = DrugForm(molar_mass_form=Decimal("362.466"), molar_mass_moiety=Decimal("362.466"))


def assay(basis: str = "dried", **changes: Decimal | str | None) -> CertifiedAssay:
    given = {
        "frac": Decimal("0.994"),
        "u_frac": Decimal("0.003"),
        "basis": basis,
        "expressed_as": "form",
        "water_frac": None,
        "loss_on_drying_frac": Decimal("0.004"),
    }
    return CertifiedAssay(**{**given, **changes})  # type: ignore[arg-type]


@pytest.mark.django_db
def test_worked_example_by_hand(cast: Cast, bench: Bench) -> None:
    # By hand: 0.994 x (1 - 0.004) = 0.990024; 20.2 g x 0.990024 = 19.9984848 g in 500 g of resin.
    found = queries.resin_lot(cast.rosa, weighed_lot(cast, bench), at=NOW).strength
    assert found is not None
    assert found.potency_frac == Decimal("0.990024")
    assert found.drug_mg == Decimal("19998.4848")
    assert found.total_g == Decimal(500)
    assert found.mg_g == Decimal("39.9969696")
    assert found.fraction_of_nominal == Decimal("0.99992424")
    assert found.verdict == "free"
    assert [step.what for step in found.chain] == [
        "assay 99.4 %, dried",
        "less loss on drying 0.4 %",
        "moiety per form 1 x 362.466 / 362.466",
    ]


@pytest.mark.django_db
def test_uncertainty_by_hand(cast: Cast, bench: Bench) -> None:
    found = queries.resin_lot_facts(weighed_lot(cast, bench), at=NOW)
    # JCGM 100:2008 eq. (10), relative parts: the assay's, and m/(m+M) of the weights, which hardly counts.
    u_fine, u_coarse = math.hypot(0.08, 0.1 / math.sqrt(6)), math.hypot(8, 10 / math.sqrt(6))
    u_others = math.sqrt(2 * u_coarse**2 + 2 * u_fine**2)
    by_drug = u_fine * 479_800 / 500_000 / 20_200
    relative = math.sqrt((0.003 / 0.994) ** 2 + by_drug**2 + (u_others / 500_000) ** 2)
    assert found.u_strength_mg_g is not None
    assert float(found.u_strength_mg_g) == pytest.approx(39.9969696 * relative, rel=1e-5)


@pytest.mark.django_db
def test_one_changed_weight_changes_the_strength_by_the_right_amount(cast: Cast, bench: Bench) -> None:
    # By hand: 20.402 g x 0.990024 = 20.198469648 g in 500.202 g.
    found = queries.resin_lot_facts(weighed_lot(cast, bench, weights={3: Decimal(20402)}), at=NOW)
    assert float(found.strength_mg_g or 0) == pytest.approx(20198.469648 / 500.202, rel=1e-9)
    # By hand: 10 g more of a monomer dilutes 19.9984848 g to 510 g.
    thinner = queries.resin_lot_facts(weighed_lot(cast, bench, weights={1: Decimal(335000)}), at=NOW)
    assert float(thinner.strength_mg_g or 0) == pytest.approx(19998.4848 / 510, rel=1e-9)


@pytest.mark.django_db
def test_no_strength_is_stated_before_everything_is_weighed(cast: Cast, bench: Bench) -> None:
    from printing.stock import services

    lot = services.start_resin_lot(cast.tomas, formulation=bench.formulation, target_g=Decimal(500), at=NOW).code
    assert queries.resin_lot_facts(lot, at=NOW).strength_mg_g is None
    assert queries.resin_lot(cast.rosa, lot, at=NOW).strength is None


def test_bases_are_never_corrected_twice() -> None:
    water = {"water_frac": Decimal("0.004"), "loss_on_drying_frac": None}
    assert potency_as_weighed(assay(), HYDROCORTISONE).frac == Decimal("0.990024")
    assert potency_as_weighed(assay("anhydrous", **water), HYDROCORTISONE).frac == Decimal("0.990024")
    plain = potency_as_weighed(assay("as is", loss_on_drying_frac=None), HYDROCORTISONE)
    assert plain.frac == Decimal("0.994")
    for wrong in (assay("as is"), assay("anhydrous"), assay("dried", **water)):
        with pytest.raises(BadInput):
            potency_as_weighed(wrong, HYDROCORTISONE)


def test_a_salt_counts_by_its_form_factor_once() -> None:
    # Hydrocortisone acetate, C23H32O6: 404.503 g/mol, computed from the IUPAC abridged weights of 2021.
    acetate = DrugForm(molar_mass_form=Decimal("404.503"), molar_mass_moiety=Decimal("362.466"))
    as_form = potency_as_weighed(assay("as is", loss_on_drying_frac=None), acetate)
    assert float(as_form.frac) == pytest.approx(0.994 * 362.466 / 404.503, rel=1e-12)
    as_moiety = potency_as_weighed(
        assay("as is", loss_on_drying_frac=None, expressed_as="moiety", frac=Decimal("0.89")), acetate
    )
    assert as_moiety.frac == Decimal("0.89")


@pytest.mark.parametrize(
    ("drug_mg", "verdict"),
    [
        (Decimal("19594.6"), "free"),
        (Decimal("19594.4"), "investigation"),
        (Decimal("19190.6"), "investigation"),
        (Decimal("19190.4"), "rejected"),
        (Decimal("20806.6"), "free"),
        (Decimal("20806.8"), "investigation"),
        (Decimal("21210.6"), "investigation"),
        (Decimal("21210.9"), "rejected"),
    ],
)
def test_verdict_just_inside_and_just_outside_each_limit(drug_mg: Decimal, verdict: str) -> None:
    # Potency exactly 0.99 and 480.4 g of the rest chosen so that 97, 95, 103 and 105 % fall between the pairs.
    certified = assay("as is", frac=Decimal("0.99"), loss_on_drying_frac=None)
    drug = AssayedDrug(assay=certified, potency=potency_as_weighed(certified, HYDROCORTISONE))
    rest = 500_000_000 - int(drug_mg * 1000)
    weighings = [
        WeighedIn(ingredient="NG-A", nominal_ug=1, actual_ug=int(drug_mg * 1000), resolution_ug=100,
                  repeatability_ug=80, drug=drug),
        WeighedIn(ingredient="NG-B", nominal_ug=1, actual_ug=rest, resolution_ug=10_000, repeatability_ug=8_000),
    ]  # fmt: skip
    nominal = Decimal("39.9972")  # 20.2006 g x 0.99 / 500 g
    assert strength_of(weighings, nominal, SiteValues()).verdict == verdict


def test_a_lot_without_a_drug_has_no_strength() -> None:
    weighings = [WeighedIn(ingredient="NG-B", nominal_ug=1, actual_ug=1, resolution_ug=1, repeatability_ug=1)]
    with pytest.raises(BadInput):
        strength_of(weighings, Decimal(40), SiteValues())
