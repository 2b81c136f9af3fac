"""Whether the site's balances can weigh what a lot of some size asks for."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from dosewright.ground.pure.errors import Refusal
from printing.core.resin.weighable import too_little
from printing.formulary.content import FormulationFacts, RecipeLine
from printing.stock.models import Equipment
from printing.stock.queries.in_date import equipment_blockers
from printing.stock.strength import least_weight_of, target_ug


def too_little_to_weigh(facts: FormulationFacts, site_id: int, lot_ug: int, *, at: datetime) -> list[Refusal]:
    """Return a refusal for each ingredient of which a lot [ug] holds less than the finest balance may weigh.

    Nothing where the site has no balance in date: then each weighing is refused for want of one.
    """
    return too_little_of(facts.recipe, finest_least_mg(site_id, at=at), lot_ug)


def finest_least_mg(site_id: int, *, at: datetime) -> Decimal | None:
    """Return the smallest least weight [mg] of the site's balances that are in date, None when there is none."""
    rows = Equipment.objects.filter(site_id=site_id, kind="balance").select_related("site").prefetch_related("checks")
    usable = [one for one in rows if not equipment_blockers(one, at=at)]
    return min((least_weight_of(one.resolution_ug or 0, one.repeatability_ug or 0) for one in usable), default=None)


def too_little_of(lines: tuple[RecipeLine, ...], least_mg: Decimal | None, made_ug: int) -> list[Refusal]:
    """Return a refusal for each line whose share of `made_ug` is less than `least_mg` (nothing when that is None)."""
    if least_mg is None:
        return []
    asked = [(line, Decimal(target_ug(line.mass_frac, made_ug)) / 1000) for line in lines]
    return [
        too_little(
            line.ingredient.name,
            mass_frac=line.mass_frac,
            target_g=Decimal(made_ug) / 1_000_000,
            weight_mg=weight_mg,
            least_mg=least_mg,
        )
        for line, weight_mg in asked
        if weight_mg < least_mg
    ]
