"""What every weighing must keep, into a resin lot and into a premix alike: lot, balance, reading, least weight."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find
from printing.core.resin.weighable import too_little
from printing.stock.models import Equipment, IngredientLot
from printing.stock.queries.ingredient_lots import blockers_of
from printing.stock.strength import least_weight_of


def usable_lot(actor: Actor, code: str, ingredient_id: int, *, at: datetime) -> IngredientLot:
    """Return an ingredient lot that may be weighed from now; raises NotThere, Blocked with everything against it."""
    row = find(actor, IngredientLot, code)
    found = list(blockers_of(row, at=at))
    if row.ingredient_id != ingredient_id:
        found.append(
            Refusal(
                field="ingredient_lot",
                value=f"{row.code}: {row.ingredient.name}",
                message="is another ingredient than the recipe's",
                accepted="a lot of the recipe's ingredient",
                rule="wrong ingredient",
            )
        )
    refuse_if_any(Blocked, found)
    return row


def must_be_next(item_number: int, *, numbers: list[int], done: set[int]) -> None:
    """Raise Conflict unless `item_number` is the first of `numbers` that is not done: the order of addition."""
    left = [number for number in sorted(numbers) if number not in done]
    if item_number in done:
        raise Conflict.because(
            "item_number", "is weighed already", value=str(item_number), accepted=str(left[0]) if left else "none"
        )
    if item_number != left[0]:
        raise Conflict.because(
            "item_number",
            "is out of turn: ingredients are added in the recipe's order",
            value=str(item_number),
            accepted=str(left[0]),
            rule="order of addition",
        )


def refuse_reading(actual_ug: int, scale: Equipment, *, ingredient: str, mass_frac: Decimal, target_ug: int) -> None:
    """Raise BadInput for what a balance cannot show, Blocked for less than it may weigh.

    mass_frac and target_ug: the ingredient's share, and the mass [ug] of what is made; they say what could be
    weighed instead.
    """
    interval = scale.resolution_ug or 0
    if not interval or actual_ug % interval:
        raise BadInput.because(
            "actual_mg",
            "is no reading of this balance",
            value=f"{Decimal(actual_ug) / 1000}",
            unit="mg",
            accepted=f"steps of {Decimal(interval) / 1000} mg",
            rule="scale interval",
        )
    least_mg = least_weight_of(interval, scale.repeatability_ug or 0)
    if Decimal(actual_ug) / 1000 < least_mg:
        raise Blocked(
            too_little(
                ingredient,
                mass_frac=mass_frac,
                target_g=Decimal(target_ug) / 1_000_000,
                weight_mg=Decimal(actual_ug) / 1000,
                least_mg=least_mg,
            )
        )
