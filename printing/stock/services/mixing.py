"""Making a resin lot: started from a validated formulation, weighed in order and checked by a second person, mixed."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from django.db import IntegrityError

from dosewright.ground.act import Act, act
from dosewright.ground.fresh import new_code
from dosewright.ground.models import Site
from dosewright.ground.pure.errors import Blocked, Conflict, NotThere, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find
from printing.core.resin.compounding import weighing_refusals
from printing.formulary import queries as formulary
from printing.formulary.content import FormulationFacts
from printing.formulary.designs import not_validated
from printing.stock import queries
from printing.stock.content import SHELF, STORE, VESSEL
from printing.stock.models import ResinLot, Weighing, WeighingCheck
from printing.stock.queries.resin_lots import weighed_in
from printing.stock.services.movements import LotAnswer, answer, move_stock, whole
from printing.stock.services.weighing_rules import must_be_next, refuse_reading, usable_lot
from printing.stock.states import RESIN_LOT_INITIAL
from printing.stock.strength import limits_of, weighed
from printing.stock.strength import target_ug as share_ug

MOST_G = Decimal(100_000)
MOST_MG = 1000 * MOST_G


def start_resin_lot(actor: Actor, *, formulation: str, target_g: Decimal, at: datetime) -> LotAnswer:
    """Start a lot of the newest validated version of a formulation. For technicians.

    Raises NotAllowed, NotThere, BadInput; Blocked, all at once, for a formulation that is not validated, a
    substance whose function (controlled, hazardous) the site has not switched on, and each ingredient of which a
    lot of this size holds less than the site's finest balance may weigh.
    """
    with act(actor, "resin_lot.start", at=at, subject=formulation[:20]) as doing:
        facts = formulary.formulation_facts(actor.site_id, formulation)
        target_ug = whole("target_g", target_g, per=1_000_000, unit="g", most=MOST_G)
        refuse_if_any(Blocked, _against_starting(facts, Site.objects.get(pk=actor.site_id), target_ug, at=at))
        lot = ResinLot.objects.create(
            code=new_code("resin lot"),
            site_id=actor.site_id,
            formulation=formulary.find_formulation(actor.site_id, facts.code, facts.number),
            state=RESIN_LOT_INITIAL,
            target_ug=target_ug,
            started_at=at,
            started_by_id=actor.user_id,
        )
        doing.subject = lot.code
        doing.note(formulation=facts.code, number=facts.number, target_g=target_g)
        return answer(lot)


def weigh(
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
    """Record one actual weight, in the recipe's order of addition. For technicians and pharmacists.

    Raises NotAllowed, NotThere; Conflict out of turn or for a lot that is no longer being weighed; Blocked for a
    lot that is not approved, expired, of another ingredient or too small, a balance that is overdue or too coarse,
    and a weight outside its tolerance without a reason; BadInput for a weight that this balance cannot show.
    """
    lot = find(actor, ResinLot, code)
    with act(actor, "resin_lot.weigh", at=at, subject=lot.code, reason=reason) as doing:
        _must_be_weighing(lot)
        item = formulary.recipe_item(lot.formulation_id, item_number)
        must_be_next(
            item_number,
            numbers=list(lot.formulation.recipe.values_list("number", flat=True)),
            done=set(lot.weighings.values_list("recipe_item__number", flat=True)),
        )
        scale = queries.equipment_for_use(actor, balance, kind="balance", at=at)
        row = Weighing(
            resin_lot=lot,
            recipe_item=item,
            ingredient_lot=usable_lot(actor, ingredient_lot, item.ingredient_id, at=at),
            target_ug=share_ug(item.mass_frac, lot.target_ug),
            actual_ug=whole("actual_mg", actual_mg, per=1000, unit="mg", most=MOST_MG),
            balance=scale,
            weighed_by_id=actor.user_id,
            weighed_at=at,
            reason=reason.strip(),
        )
        refuse_reading(
            row.actual_ug,
            scale,
            ingredient=item.ingredient.name,
            mass_frac=item.mass_frac,
            target_ug=lot.target_ug,
        )
        if not row.reason:
            refuse_if_any(Blocked, weighing_refusals([weighed(weighed_in(row))], limits_of(lot.site.values)))
        _keep(row)
        _move_into_vessel(doing, row)
        doing.note(item=item_number, actual_mg=actual_mg, target_ug=row.target_ug, balance=scale.code)
        return answer(lot)


def check_weighing(actor: Actor, code: str, *, item_number: int, at: datetime) -> LotAnswer:
    """Record that a second person saw one weighing. For technicians and pharmacists other than the weigher.

    Raises NotAllowed, NotThere for an item that is not weighed yet, Conflict when it is checked already.
    """
    lot = find(actor, ResinLot, code)
    with act(actor, "resin_lot.check_weighing", at=at, subject=lot.code) as doing:
        row = lot.weighings.filter(recipe_item__number=item_number).first()
        if row is None:
            raise NotThere.because("item_number", "is not weighed yet", value=str(item_number))
        doing.authorise({"weigher": frozenset({row.weighed_by_id})})
        _must_be_weighing(lot)
        if WeighingCheck.objects.filter(weighing=row).exists():
            raise Conflict.because("item_number", "is checked already", value=str(item_number), rule="checked")
        WeighingCheck.objects.create(weighing=row, checked_by_id=actor.user_id, checked_at=at)
        doing.note(item=item_number)
        return answer(lot)


def mix_resin_lot(actor: Actor, code: str, *, at: datetime) -> LotAnswer:
    """Record that a lot was mixed; everything must be weighed and checked. For technicians.

    Raises NotAllowed, NotThere, Conflict; Blocked naming what is not weighed or not checked.
    """
    lot = find(actor, ResinLot, code)
    with act(actor, "resin_lot.mix", at=at, subject=lot.code) as doing:
        facts = queries.resin_lot_record(lot.code, at=at)
        open_lines = [
            Refusal(
                field=f"item {line.number}",
                value=line.ingredient_name,
                message="is not checked by a second person" if line.actual_mg is not None else "is not weighed",
                accepted="weighed by one person and checked by another",
                rule="weighing",
            )
            for line in facts.sheet
            if not line.checked_by
        ]
        refuse_if_any(Blocked, open_lines)
        doing.advance(lot, "mix")
        doing.change(lot, mixed_at=at, mixed_by_id=actor.user_id)
        made_ug = queries.balance_ug(lot.code, VESSEL)
        move_stock(doing, lot.code, VESSEL, -made_ug, "mixed", lot.code)
        move_stock(doing, lot.code, STORE, made_ug, "mixed", lot.code)
        return answer(lot)


def _against_starting(facts: FormulationFacts, site: Site, lot_ug: int, *, at: datetime) -> list[Refusal]:
    found = [] if facts.state == "validated" else [not_validated(facts)]
    found += [
        Refusal(
            field="substance",
            value=facts.substance,
            message=f"is {name}, and the site has not switched that on",
            accepted=f"a site that handles {name} substances",
            rule=f"{name} off",
        )
        for flag, is_on, name in (
            (facts.controlled, site.values.controlled_on, "controlled"),
            (facts.hazardous, site.values.hazardous_on, "hazardous"),
        )
        if flag and not is_on
    ]
    return found + queries.too_little_to_weigh(facts, site.pk, lot_ug, at=at)


def _must_be_weighing(lot: ResinLot) -> None:
    if lot.state != RESIN_LOT_INITIAL:
        raise Conflict.because(lot.code, f"is {lot.state}", accepted="a lot that is being weighed", rule="state")


def _keep(row: Weighing) -> None:
    try:
        row.save(force_insert=True)
    except IntegrityError:
        raise Conflict.because(
            "item_number", "was weighed by somebody else meanwhile", rule="one weighing per item"
        ) from None


def _move_into_vessel(doing: Act, row: Weighing) -> None:
    into, out_of = row.resin_lot.code, row.ingredient_lot.code
    move_stock(doing, out_of, SHELF, -row.actual_ug, "weighed", into)
    move_stock(doing, into, VESSEL, row.actual_ug, "weighed", out_of)
