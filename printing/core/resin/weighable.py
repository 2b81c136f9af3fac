"""Whether a balance may weigh what a recipe asks for, and what would make it so: a larger lot, or a premix."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from dosewright.ground.pure.errors import Refusal
from dosewright.ground.pure.formulas import formula
from printing.core.exact import Number, positive

LEAST_WEIGHT = "least weight"
LEAST_SOURCE = "USP <41>, as of 2019: 2 s / m at most 0.10 %, s at least 0.41 d (read second-hand)"
TENTH_G = Decimal("0.1")
PERCENT_STEP = Decimal("0.01")


@dataclass(frozen=True, slots=True, kw_only=True)
class Remedy:
    """What a balance could weigh: a lot of so much [g], or a premix that holds at most this share of the ingredient."""

    lot_g: Decimal
    premix_percent: Decimal


@formula(
    "weighable",
    inputs={
        "mass_frac": "mass fraction of the ingredient in what is made, more than 0, at most 1",
        "target_g": "mass of what is made [g], more than 0",
        "least_mg": "least net weight of the balance [mg], more than 0",
    },
    source=f"Least weight: {LEAST_SOURCE}; lot and premix by mass balance",
)
def remedy_for(mass_frac: Number, target_g: Number, least_mg: Number) -> Remedy:
    """Return the smallest lot [g] in which the ingredient reaches the least weight, and the strongest premix.

    The lot is rounded up to 0.1 g, the premix's share down to 0.01 %, so that both really can be weighed.
    Raises BadInput outside the ranges of `inputs`. Source: mass balance.
    """
    share, made, least = (
        positive("mass_frac", mass_frac),
        positive("target_g", target_g),
        positive("least_mg", least_mg),
    )
    lot_g = (least / share / 1000).quantize(TENTH_G, ROUND_CEILING)
    asked_mg = 1000 * share * made
    return Remedy(lot_g=lot_g, premix_percent=(100 * asked_mg / least).quantize(PERCENT_STEP, ROUND_FLOOR))


def too_little(
    ingredient: str, *, mass_frac: Decimal, target_g: Decimal, weight_mg: Decimal, least_mg: Decimal
) -> Refusal:
    """Return the refusal of a weight below a balance's least one, with the lot or the premix that could be weighed."""
    found = remedy_for(mass_frac, target_g, least_mg)
    ways = [f"a lot of {found.lot_g.normalize():f} g or more"]
    if 0 < found.premix_percent < 100:
        ways.append(f"a premix that holds at most {found.premix_percent.normalize():f} % of it")
    return Refusal(
        field=ingredient,
        message="is too little for this balance: it weighs too coarsely",
        value=f"{weight_mg.normalize():f}",
        limit=f"{least_mg.normalize():f}",
        unit="mg",
        accepted=f"{', '.join(ways)}, or a finer balance",
        rule=LEAST_WEIGHT,
    )
