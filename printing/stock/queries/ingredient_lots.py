"""Reading ingredient lots."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from dosewright.ground.pure.errors import Refusal
from dosewright.ground.pure.roles import Actor, authorise_read
from dosewright.ground.rest import KeysetPage
from dosewright.ground.scope import find
from printing.stock.content import SHELF, IngredientLotFacts
from printing.stock.models import IngredientLot
from printing.stock.queries.premixes import premix_sheet, weighed_moiety_frac
from printing.stock.queries.record import UG_PER_G, balance_ug

OUT_OF_USE = ("blocked", "rejected")
"""States that keep what was made of a lot from use."""


@dataclass(frozen=True, slots=True, kw_only=True)
class IngredientLotRow:
    """One line of the list of ingredient lots."""

    code: str
    ingredient_name: str
    supplier_lot: str
    state: str
    expires_on: date
    on_shelf_g: Decimal


def ingredient_lot(actor: Actor, code: str, *, at: datetime) -> IngredientLotFacts:
    """Return one ingredient lot for people who may see the stock; raises NotAllowed, NotThere."""
    authorise_read(actor, "stock")
    return facts_of(find(actor, IngredientLot, code), at=at)


def ingredient_lot_facts(code: str, *, at: datetime) -> IngredientLotFacts:
    """Return one ingredient lot for other services."""
    return facts_of(IngredientLot.objects.get(code=code), at=at)


def ingredient_lots(actor: Actor, *, after: str = "", limit: int = 50, state: str = "") -> KeysetPage[IngredientLotRow]:
    """Return a page of ingredient lots by code; raises NotAllowed."""
    authorise_read(actor, "stock")
    rows = IngredientLot.objects.filter(site_id=actor.site_id, code__gt=after).select_related("ingredient")
    if state:
        rows = rows.filter(state=state)
    found = list(rows.order_by("code")[: limit + 1])
    items = tuple(
        IngredientLotRow(
            code=one.code,
            ingredient_name=one.ingredient.name,
            supplier_lot=one.supplier_lot,
            state=one.state,
            expires_on=one.expires_on,
            on_shelf_g=Decimal(balance_ug(one.code, SHELF)) / UG_PER_G,
        )
        for one in found[:limit]
    )
    return KeysetPage(items=items, next_after=items[-1].code if len(found) > limit else "")


def facts_of(row: IngredientLot, *, at: datetime) -> IngredientLotFacts:
    """Return the facts of a lot's row at a time."""
    return IngredientLotFacts(
        code=row.code,
        state=row.state,
        version=row.version,
        ingredient=row.ingredient.code,
        ingredient_name=row.ingredient.name,
        role=row.ingredient.role,
        supplier_lot=row.supplier_lot,
        received_at=row.received_at,
        received_by=row.received_by.printed_name,
        expires_on=row.expires_on,
        assay_frac=row.assay_frac,
        u_assay_frac=row.u_assay_frac,
        assay_basis=row.assay_basis,
        assay_expressed_as=row.assay_expressed_as,
        water_frac=row.water_frac,
        loss_on_drying_frac=row.loss_on_drying_frac,
        certificate_reference=row.certificate_reference,
        on_shelf_g=Decimal(balance_ug(row.code, SHELF)) / UG_PER_G,
        blockers=blockers_of(row, at=at),
        mixed_at=row.mixed_at,
        sheet=premix_sheet(row),
        weighed_moiety_frac=None if row.target_ug is None else weighed_moiety_frac(row),
        assayed_frac=dict(row.assays.values_list("place", "content_frac")) if row.target_ug is not None else {},
    )


def blockers_of(row: IngredientLot, *, at: datetime) -> tuple[Refusal, ...]:
    """Return what stands against weighing from a lot now."""
    found = [] if row.state == "approved" else [_against(row, f"is {row.state}", "an approved lot")]
    if at.astimezone(row.site.zone).date() > row.expires_on:
        found.append(_against(row, f"expired on {row.expires_on.isoformat()}", "a lot that is in date"))
    for part in IngredientLot.objects.filter(weighed_into__premix_lot=row.pk, state__in=OUT_OF_USE):
        found.append(_against(row, f"was made of {part.code}, which is {part.state}", "approved parts"))
    return tuple(found)


def _against(row: IngredientLot, message: str, accepted: str) -> Refusal:
    return Refusal(field="ingredient_lot", value=row.code, message=message, accepted=accepted, rule="ingredient lot")
