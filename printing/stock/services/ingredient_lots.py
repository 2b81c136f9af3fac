"""Ingredient lots: received into quarantine, approved by a pharmacist, blocked, unblocked by two, closed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from dosewright.ground.act import Act, act
from dosewright.ground.fresh import new_code
from dosewright.ground.pure.errors import BadInput, Blocked, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find
from dosewright.ground.signing import Pen, sign
from dosewright.ground.two_signatures import earlier_signatures, first_signer
from printing.formulary import queries as formulary
from printing.formulary.content import DRUG
from printing.stock import queries
from printing.stock.content import SHELF, WASTE
from printing.stock.models import IngredientLot
from printing.stock.queries.premixes import assayed_drug, makers_of
from printing.stock.services.movements import LotAnswer, answer, move_stock, need_reason, whole
from printing.stock.states import INGREDIENT_LOT, INGREDIENT_LOT_INITIAL

MOST_G = Decimal(1_000_000)
PLACES = 7
"""Decimal places of a fraction on a certificate that are kept."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DeliveredLot:
    """A delivery as its certificate states it; a drug's assay is needed, with its basis and uncertainty."""

    ingredient: str
    supplier_lot: str
    amount_g: Decimal
    expires_on: date
    certificate_reference: str
    assay_frac: Decimal | None = None
    u_assay_frac: Decimal | None = None
    assay_basis: str = ""
    assay_expressed_as: str = ""
    water_frac: Decimal | None = None
    loss_on_drying_frac: Decimal | None = None


def receive_ingredient_lot(actor: Actor, *, lot: DeliveredLot, at: datetime) -> LotAnswer:
    """Take a delivered lot into quarantine and onto the shelf. For technicians and pharmacists.

    Raises NotAllowed, NotThere for an unknown ingredient, BadInput for a drug without a usable assay, an expired
    lot or an amount that is none.
    """
    with act(actor, "ingredient_lot.receive", at=at) as doing:
        ingredient = formulary.ingredient_row(actor.site_id, lot.ingredient)
        amount_ug = whole("amount_g", lot.amount_g, per=1_000_000, unit="g", most=MOST_G)
        row = IngredientLot(
            code=new_code("ingredient lot"),
            site_id=actor.site_id,
            ingredient=ingredient,
            supplier_lot=lot.supplier_lot,
            state=INGREDIENT_LOT_INITIAL,
            received_at=at,
            received_by_id=actor.user_id,
            expires_on=lot.expires_on,
            assay_frac=lot.assay_frac,
            u_assay_frac=lot.u_assay_frac,
            assay_basis=lot.assay_basis,
            assay_expressed_as=lot.assay_expressed_as,
            water_frac=lot.water_frac,
            loss_on_drying_frac=lot.loss_on_drying_frac,
            certificate_reference=lot.certificate_reference,
        )
        refuse_if_any(BadInput, _faults(row, at))
        row.save(force_insert=True)
        doing.subject = row.code
        move_stock(doing, row.code, SHELF, amount_ug, "received", row.code)
        doing.note(ingredient=ingredient.code, supplier_lot=lot.supplier_lot)
        return answer(row)


def approve_ingredient_lot(actor: Actor, code: str, *, at: datetime) -> LotAnswer:
    """Approve a quarantined lot. For pharmacists who did not receive it, or took no part in making a premix.

    Raises NotAllowed, NotThere, Conflict; Blocked for an expired lot, and for a premix that is not mixed, not
    assayed, uneven, or holds something else than its weights say.
    """
    row = find(actor, IngredientLot, code)
    parties = {"receiver": frozenset({row.received_by_id}) | makers_of([row.pk])}
    with act(actor, "ingredient_lot.approve", at=at, subject=row.code, parties=parties) as doing:
        today = at.astimezone(row.site.zone).date()
        if today > row.expires_on:
            raise Blocked(
                Refusal(
                    field=row.code,
                    value=row.expires_on.isoformat(),
                    limit=today.isoformat(),
                    message="is expired",
                    accepted="a lot that is in date",
                    rule="expired",
                )
            )
        refuse_if_any(Blocked, queries.premix_blockers(row))
        doing.advance(row, "approve")
        return answer(row)


def reject_ingredient_lot(actor: Actor, code: str, *, reason: str, at: datetime) -> LotAnswer:
    """Reject a quarantined or blocked lot for good. For pharmacists. Raises NotAllowed, NotThere, Conflict."""
    return _move(actor, code, "reject", reason=reason, at=at)


def block_ingredient_lot(actor: Actor, code: str, *, reason: str, at: datetime) -> LotAnswer:
    """Take an approved lot out of use for now; resin made with it may not be printed. Raises NotAllowed, Conflict."""
    return _move(actor, code, "block", reason=reason, at=at)


def unblock_ingredient_lot(actor: Actor, code: str, *, pen: Pen, at: datetime) -> LotAnswer:
    """Sign a blocked lot back into use; the second of two pharmacists does it. Raises NotAllowed, Conflict."""
    row = find(actor, IngredientLot, code)
    with act(actor, "ingredient_lot.unblock", at=at, subject=row.code) as doing:
        # Two first signatures at once would both wait for a second one for ever: the row is held meanwhile.
        row = IngredientLot.objects.select_for_update().get(pk=row.pk)
        earlier = earlier_signatures(doing.action, subject=row.code, subject_version=row.version)
        doing.authorise(first_signer(earlier))
        _must_be_blocked(row)
        sign(
            doing,
            pen,
            meaning="unblocked",
            subject_kind="ingredient lot",
            subject=row.code,
            subject_version=row.version,
            shown=_shown(row, at),
        )
        if earlier:
            doing.advance(row, "unblock")
        return answer(row, signatures=len(earlier) + 1)


def shown_for_unblock_ingredient_lot(actor: Actor, code: str, *, at: datetime) -> Any:
    """Return what a signer of `unblock_ingredient_lot` is shown. Raises NotThere."""
    return _shown(find(actor, IngredientLot, code), at)


def close_ingredient_lot(actor: Actor, code: str, *, reason: str, at: datetime) -> LotAnswer:
    """Close a used-up lot; what is left on the shelf goes to waste on record. Raises NotAllowed, Conflict."""
    row = find(actor, IngredientLot, code)
    with act(actor, "ingredient_lot.close", at=at, subject=row.code, reason=reason) as doing:
        need_reason(reason)
        doing.advance(row, "exhaust")
        left_ug = queries.balance_ug(row.code, SHELF)
        if left_ug:
            move_stock(doing, row.code, SHELF, -left_ug, "closed", row.code)
            move_stock(doing, row.code, WASTE, left_ug, "closed", row.code)
        return answer(row)


def _move(actor: Actor, code: str, event: str, *, reason: str, at: datetime) -> LotAnswer:
    row = find(actor, IngredientLot, code)
    with act(actor, f"ingredient_lot.{event}", at=at, subject=row.code, reason=reason) as doing:
        need_reason(reason)
        doing.advance(row, event)
        _tell(doing, row)
        return answer(row)


def _tell(doing: Act, row: IngredientLot) -> None:
    doing.emit(f"ingredient lot {row.state}", ingredient_lot=row.code)


def _must_be_blocked(row: IngredientLot) -> None:
    if (row.state, "unblock") not in INGREDIENT_LOT:
        raise Blocked(
            Refusal(field=row.code, value=row.state, message="is not blocked", accepted="blocked", rule="state")
        )


def _shown(row: IngredientLot, at: datetime) -> Any:
    return {"ingredient_lot": queries.ingredient_lot_facts(row.code, at=at), "version": row.version}


def _faults(row: IngredientLot, at: datetime) -> list[Refusal]:
    found = []
    for field in ("supplier_lot", "certificate_reference"):
        if not getattr(row, field).strip():
            found.append(Refusal(field=field, message="is missing", accepted="as the certificate states it"))
    today = at.astimezone(row.site.zone).date()
    if row.expires_on < today:
        found.append(
            Refusal(
                field="expires_on",
                value=row.expires_on.isoformat(),
                limit=today.isoformat(),
                message="is past already",
                accepted="today or later",
                rule="expired",
            )
        )
    found += _too_fine(row)
    return found + (_assay_faults(row) if row.ingredient.role == DRUG and not found else [])


def _too_fine(row: IngredientLot) -> list[Refusal]:
    names = ("assay_frac", "u_assay_frac", "water_frac", "loss_on_drying_frac")
    given = [(name, getattr(row, name)) for name in names if getattr(row, name) is not None]
    return [
        Refusal(field=name, value=str(value)[:40], message="is finer than is kept", accepted=f"{PLACES} places")
        for name, value in given
        if not value.is_finite() or value != round(value, PLACES)
    ]


def _assay_faults(row: IngredientLot) -> list[Refusal]:
    needed = ("assay_frac", "u_assay_frac", "assay_basis", "assay_expressed_as")
    missing = [name for name in needed if getattr(row, name) in (None, "")]
    if missing:
        return [Refusal(field=name, message="is needed for a drug", accepted="a value") for name in missing]
    if not 0 < Decimal(row.u_assay_frac or 0) <= Decimal("0.1"):
        return [
            Refusal(
                field="u_assay_frac",
                value=str(row.u_assay_frac),
                message="is no standard uncertainty of an assay",
                accepted="more than 0, at most 0.1",
            )
        ]
    try:
        assayed_drug(row)
    except ValueError:
        return [Refusal(field="assay_basis", message="is not known", accepted="as is, anhydrous, dried; form, moiety")]
    except BadInput as refused:
        return list(refused.refusals)
    return []
