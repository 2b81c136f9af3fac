"""Making a premix: a lot of an ingredient that is mixed here, so that a balance can weigh what a resin needs of it.

It is started, weighed part by part and checked by a second person, mixed onto the shelf, assayed at three places;
then a pharmacist who did not make it approves it like any other ingredient lot.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

from django.db import IntegrityError

from dosewright.ground.act import act
from dosewright.ground.fresh import new_code
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotThere, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find
from printing.core.resin.compounding import weighing_refusals
from printing.formulary import queries as formulary
from printing.stock import queries
from printing.stock.content import PREMIX_PLACES, SHELF, VESSEL
from printing.stock.models import IngredientLot, PremixAssay, PremixCheck, PremixWeighing
from printing.stock.models.lots import EXPRESSED_AS
from printing.stock.queries.premixes import too_little_for_premix, weighed_into_premix
from printing.stock.services.movements import LotAnswer, answer, move_stock, whole
from printing.stock.services.weighing_rules import must_be_next, refuse_reading, usable_lot
from printing.stock.states import INGREDIENT_LOT_INITIAL
from printing.stock.strength import limits_of, target_ug, weighed

MOST_G = Decimal(10_000)
MOST_MG = 1000 * MOST_G
MADE_HERE = "made here"
ASSAY_PLACES = Decimal("0.0000001")


def start_premix(actor: Actor, *, ingredient: str, target_g: Decimal, at: datetime) -> LotAnswer:
    """Start a lot of a premix, in quarantine until it is assayed and approved. For technicians.

    Raises NotAllowed, NotThere; BadInput for an ingredient that is no premix; Blocked naming each part of which a
    lot of this size holds less than the site's finest balance may weigh.
    """
    with act(actor, "premix.start", at=at) as doing:
        row = formulary.ingredient_row(actor.site_id, ingredient)
        facts = formulary.ingredient_facts(row)
        if not facts.premix or facts.premix_life_days is None:
            raise BadInput.because("ingredient", "is no premix", value=row.code, accepted="an ingredient with parts")
        made_ug = whole("target_g", target_g, per=1_000_000, unit="g", most=MOST_G)
        refuse_if_any(Blocked, too_little_for_premix(facts, actor.site_id, made_ug, at=at))
        lot = IngredientLot(
            code=new_code("ingredient lot"),
            site_id=actor.site_id,
            ingredient=row,
            supplier_lot=MADE_HERE,
            state=INGREDIENT_LOT_INITIAL,
            received_at=at,
            received_by_id=actor.user_id,
            certificate_reference=MADE_HERE,
            target_ug=made_ug,
        )
        lot.expires_on = at.astimezone(lot.site.zone).date() + timedelta(days=facts.premix_life_days)
        lot.save(force_insert=True)
        doing.subject = lot.code
        doing.note(ingredient=row.code, target_g=target_g)
        return answer(lot)


def weigh_premix(
    actor: Actor,
    code: str,
    *,
    item_number: int,
    ingredient_lot: str,
    actual_mg: Decimal,
    balance: str,
    at: datetime,
    reason: str = "",
) -> LotAnswer:
    """Record one actual weight into a premix, in the order of its parts. For technicians and pharmacists.

    Raises as weighing into a resin lot does: NotAllowed, NotThere, Conflict, Blocked, BadInput.
    """
    lot = find(actor, IngredientLot, code)
    with act(actor, "premix.weigh", at=at, subject=lot.code, reason=reason) as doing:
        made_ug = _must_be_open(lot)
        item = formulary.premix_item(lot.ingredient_id, item_number)
        must_be_next(
            item_number,
            numbers=list(lot.ingredient.parts.values_list("number", flat=True)),
            done=set(lot.weighings.values_list("premix_item__number", flat=True)),
        )
        scale = queries.equipment_for_use(actor, balance, kind="balance", at=at)
        row = PremixWeighing(
            premix_lot=lot,
            premix_item=item,
            ingredient_lot=usable_lot(actor, ingredient_lot, item.ingredient_id, at=at),
            target_ug=target_ug(item.mass_frac, made_ug),
            actual_ug=whole("actual_mg", actual_mg, per=1000, unit="mg", most=MOST_MG),
            balance=scale,
            weighed_by_id=actor.user_id,
            weighed_at=at,
            reason=reason.strip(),
        )
        refuse_reading(
            row.actual_ug, scale, ingredient=item.ingredient.name, mass_frac=item.mass_frac, target_ug=made_ug
        )
        if not row.reason:
            one = weighed(weighed_into_premix(row))
            refuse_if_any(Blocked, weighing_refusals([one], limits_of(lot.site.values)))
        try:
            row.save(force_insert=True)
        except IntegrityError:
            raise Conflict.because("item_number", "was weighed by somebody else meanwhile") from None
        move_stock(doing, row.ingredient_lot.code, SHELF, -row.actual_ug, "weighed", lot.code)
        move_stock(doing, lot.code, VESSEL, row.actual_ug, "weighed", row.ingredient_lot.code)
        doing.note(item=item_number, actual_mg=actual_mg, target_ug=row.target_ug, balance=scale.code)
        return answer(lot)


def check_premix_weighing(actor: Actor, code: str, *, item_number: int, at: datetime) -> LotAnswer:
    """Record that a second person saw one weighing. For technicians and pharmacists other than the weigher.

    Raises NotAllowed, NotThere for a part that is not weighed yet, Conflict when it is checked already.
    """
    lot = find(actor, IngredientLot, code)
    with act(actor, "premix.check_weighing", at=at, subject=lot.code) as doing:
        row = lot.weighings.filter(premix_item__number=item_number).first()
        if row is None:
            raise NotThere.because("item_number", "is not weighed yet", value=str(item_number))
        doing.authorise({"weigher": frozenset({row.weighed_by_id})})
        if PremixCheck.objects.filter(weighing=row).exists():
            raise Conflict.because("item_number", "is checked already", value=str(item_number), rule="checked")
        PremixCheck.objects.create(weighing=row, checked_by_id=actor.user_id, checked_at=at)
        doing.note(item=item_number)
        return answer(lot)


def mix_premix(actor: Actor, code: str, *, at: datetime) -> LotAnswer:
    """Record that a premix was mixed; it goes onto the shelf, still in quarantine. For technicians.

    Its life begins now and ends at the latest with that of its parts. Raises NotAllowed, NotThere, Conflict;
    Blocked naming what is not weighed or not checked.
    """
    lot = find(actor, IngredientLot, code)
    with act(actor, "premix.mix", at=at, subject=lot.code) as doing:
        _must_be_open(lot)
        facts = queries.ingredient_lot_facts(lot.code, at=at)
        open_lines = [
            Refusal(
                field=f"part {line.number}",
                value=line.ingredient_name,
                message="is not checked by a second person" if line.actual_mg is not None else "is not weighed",
                accepted="weighed by one person and checked by another",
                rule="weighing",
            )
            for line in facts.sheet
            if not line.checked_by
        ]
        refuse_if_any(Blocked, open_lines)
        life = timedelta(days=lot.ingredient.premix_life_days or 0)
        parts = list(lot.weighings.values_list("ingredient_lot__expires_on", flat=True))
        last = min([at.astimezone(lot.site.zone).date() + life, *parts])
        doing.change(lot, mixed_at=at, mixed_by_id=actor.user_id, expires_on=last)
        made_ug = queries.balance_ug(lot.code, VESSEL)
        move_stock(doing, lot.code, VESSEL, -made_ug, "mixed", lot.code)
        move_stock(doing, lot.code, SHELF, made_ug, "mixed", lot.code)
        return answer(lot)


def assay_premix(
    actor: Actor,
    code: str,
    *,
    content_frac: dict[str, Decimal],
    u_assay_frac: Decimal,
    expressed_as: str,
    at: datetime,
) -> LotAnswer:
    """Record the assay of a mixed premix as it is weighed, at every place; their mean is what it holds.

    content_frac: the share of drug (as `expressed_as`) found at top, middle and bottom. For technicians and
    pharmacists. Results out of limits are kept like any other; approving weighs them. Raises NotAllowed,
    NotThere, BadInput, Conflict for a premix that is not mixed or was assayed before.
    """
    lot = find(actor, IngredientLot, code)
    with act(actor, "premix.assay", at=at, subject=lot.code) as doing:
        if lot.mixed_at is None or lot.state != INGREDIENT_LOT_INITIAL or lot.assays.exists():
            raise Conflict.because(lot.code, "waits for no assay", accepted="a mixed premix without one", rule="state")
        refuse_if_any(BadInput, _assay_faults(content_frac, u_assay_frac, expressed_as))
        for place in PREMIX_PLACES:
            PremixAssay.objects.create(
                premix_lot=lot,
                place=place,
                content_frac=content_frac[place],
                assayed_by_id=actor.user_id,
                assayed_at=at,
            )
        mean = sum(content_frac.values(), Decimal(0)) / len(content_frac)
        doing.change(
            lot,
            assay_frac=mean.quantize(ASSAY_PLACES),
            u_assay_frac=u_assay_frac,
            assay_basis="as is",
            assay_expressed_as=expressed_as,
        )
        doing.note(mean_frac=lot.assay_frac, places=len(content_frac))
        return answer(lot)


def _must_be_open(lot: IngredientLot) -> int:
    """Return what is to be made of a premix that is being weighed [ug]; raises Conflict for any other lot."""
    if lot.target_ug is None or lot.mixed_at is not None or lot.state != INGREDIENT_LOT_INITIAL:
        raise Conflict.because(lot.code, "is not being weighed", accepted="a premix that is being made", rule="state")
    return lot.target_ug


def _assay_faults(content_frac: dict[str, Decimal], u_assay_frac: Decimal, expressed_as: str) -> list[Refusal]:
    found = []
    if set(content_frac) != set(PREMIX_PLACES):
        given = ", ".join(sorted(content_frac))
        found.append(
            Refusal(field="content_frac", value=given, message="are not the places", accepted=", ".join(PREMIX_PLACES))
        )
    for place, share in sorted(content_frac.items()):
        if not share.is_finite() or not 0 < share < 1 or share != round(share, 7):
            found.append(
                Refusal(
                    field=place,
                    value=str(share)[:40],
                    message="is no share of drug",
                    accepted="over 0, under 1, at most 7 places",
                )
            )
    if not u_assay_frac.is_finite() or not 0 < u_assay_frac <= Decimal("0.1") or u_assay_frac != round(u_assay_frac, 7):
        found.append(
            Refusal(
                field="u_assay_frac",
                value=str(u_assay_frac)[:40],
                message="is no standard uncertainty of an assay",
                accepted="more than 0, at most 0.1, at most 7 places",
            )
        )
    if expressed_as not in EXPRESSED_AS:
        accepted = ", ".join(EXPRESSED_AS)
        found.append(Refusal(field="expressed_as", value=expressed_as[:40], message="is not known", accepted=accepted))
    return found
