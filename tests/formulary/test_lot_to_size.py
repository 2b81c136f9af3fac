"""One entered weight of a lot reaches the size of the next unit by the right amount, and no other way."""

from __future__ import annotations

from decimal import Decimal

import pytest

from printing.formulary.designs import Fit, size_order_dose
from printing.formulary.queries import formulation_facts
from printing.stock.queries import ResinLotFacts, resin_lot_facts
from tests.cast import LOT_MG, NOW, Cast, found_cast, ready_bench, weighed_lot, with_hydrocortisone

pytestmark = pytest.mark.django_db

ONE_DOSE = Fit(age_days=9000, weight_kg=Decimal(60), doses_per_day=Decimal(1), daily_dose_mg=Decimal(3))
MORE_MG = Decimal(20604)
"""The drug of the second lot: 2 % over the 20200 mg of the sheet."""


@pytest.fixture
def cast() -> Cast:
    cast = found_cast()
    with_hydrocortisone(cast)
    return cast


def test_two_percent_more_drug_weighed_makes_the_next_unit_smaller_by_as_much(cast: Cast) -> None:
    bench = ready_bench(cast)
    usual, richer = (
        resin_lot_facts(weighed_lot(cast, bench, weights=weights), at=NOW) for weights in (None, {3: MORE_MG})
    )
    # By hand: the potency is the same, so strengths are as drug over all that was weighed.
    total = sum(LOT_MG)
    expected = float((MORE_MG / (total - LOT_MG[2] + MORE_MG)) / (LOT_MG[2] / total))
    assert float(_strength(richer) / _strength(usual)) == pytest.approx(expected, rel=1e-9)
    before, after = _held_mm3(cast, bench.formulation, usual), _held_mm3(cast, bench.formulation, richer)
    # A dose fixes strength x density x effective volume: 1.92 % more strength, 1.88 % less volume, to the micrometre.
    assert before / after == pytest.approx(expected, rel=1e-6)
    assert expected == pytest.approx(1.0192, abs=1e-4)


def _strength(lot: ResinLotFacts) -> Decimal:
    assert lot.strength_mg_g is not None
    return lot.strength_mg_g


def _held_mm3(cast: Cast, formulation: str, lot: ResinLotFacts) -> float:
    """Return the effective volume of the unit of 3 mg that a lot is sized to, from its model's own terms."""
    unit = size_order_dose(
        formulation_facts(cast.site.pk, formulation),
        dose_mg=Decimal(3),
        resin_strength_mg_g=lot.strength_mg_g,
        u_resin_strength_mg_g=lot.u_strength_mg_g,
        fit=ONE_DOSE,
    ).unit
    model = unit.as_dict()["model"]
    return float(
        model["slice_volume_mm3"]
        + model["bleed_mm"] * model["perimeter_layer_mm2"]
        + model["overcure_mm"] * model["facing_mm2"]
        - model["leached_mm"] * unit.as_dict()["surface_mm2"]
    )
