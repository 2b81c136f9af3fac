"""Tanks: filled from one approved lot, emptied to waste, cleaned in between."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from django.db import IntegrityError

from dosewright.ground.act import act
from dosewright.ground.fresh import new_code
from dosewright.ground.pure.errors import Blocked, Conflict, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find
from printing.stock import queries
from printing.stock.content import STORE, WASTE, ResinLotFacts
from printing.stock.models import Equipment, ResinLot, TankFill
from printing.stock.queries.equipment import needs_cleaning
from printing.stock.services.movements import LotAnswer, move_stock, whole

MOST_ML = Decimal(100_000)


def fill_tank(actor: Actor, *, tank: str, resin_lot: str, volume_ml: Decimal, at: datetime) -> LotAnswer:
    """Fill an empty, clean tank of the formulation from an approved lot that is in date. For technicians.

    Raises NotAllowed, NotThere, BadInput; Conflict for a tank that holds a fill; Blocked for anything against the
    lot or the tank, more than the tank holds or more than is in store.
    """
    lot = find(actor, ResinLot, resin_lot)
    with act(actor, "tank.fill", at=at, subject=tank[:20]) as doing:
        facts = queries.resin_lot_facts(lot.code, at=at)
        refuse_if_any(Blocked, facts.blockers)
        vessel = queries.equipment_for_use(actor, tank, kind="tank", formulation=facts.formulation, at=at)
        volume_ul = whole("volume_ml", volume_ml, per=1000, unit="mL", most=MOST_ML)
        _refuse_tank(vessel, volume_ul)
        row = TankFill(
            code=new_code("tank fill"),
            site_id=actor.site_id,
            tank=vessel,
            resin_lot=lot,
            filled_at=at,
            filled_by_id=actor.user_id,
            volume_ul=volume_ul,
        )
        try:
            row.save(force_insert=True)
        except IntegrityError:
            raise _occupied(vessel, "another fill") from None
        doing.subject = row.code
        amount_ug = mass_ug(volume_ul, facts)
        move_stock(doing, lot.code, STORE, -amount_ug, "tank filled", row.code)
        move_stock(doing, lot.code, row.code, amount_ug, "tank filled", vessel.code)
        doing.note(tank=vessel.code, resin_lot=lot.code, volume_ml=volume_ml)
        return LotAnswer(code=row.code, state="filled")


def empty_tank(actor: Actor, code: str, *, at: datetime) -> LotAnswer:
    """Empty a tank by the code of its fill; what is left goes to waste, never back. For technicians.

    Raises NotAllowed, NotThere, Conflict for a fill that was emptied before.
    """
    row = find(actor, TankFill, code)
    with act(actor, "tank.empty", at=at, subject=row.code) as doing:
        if row.emptied_at is not None:
            raise Conflict.because(row.code, "was emptied before", accepted="a fill that is in its tank")
        doing.change(row, where={"emptied_at": None}, emptied_at=at)
        lot = row.resin_lot.code
        left_ug = queries.balance_ug(lot, row.code)
        if left_ug:
            move_stock(doing, lot, row.code, -left_ug, "tank emptied", row.tank.code)
            move_stock(doing, lot, WASTE, left_ug, "tank emptied", row.code)
        doing.emit("tank emptied", tank_fill=row.code)
        return LotAnswer(code=row.code, state="emptied")


def mass_ug(volume_ul: int, facts: ResinLotFacts) -> int:
    """Return the mass of a volume of a lot's resin, to the nearest microgram (1 uL of 1 g/cm3 is 1000 ug)."""
    return int((volume_ul * facts.density_g_cm3 * 1000).to_integral_value())


def _refuse_tank(vessel: Equipment, volume_ul: int) -> None:
    inside = vessel.fills.filter(emptied_at=None).select_related("resin_lot").first()
    if inside is not None:
        raise _occupied(vessel, f"tank fill {inside.code} of lot {inside.resin_lot.code}")
    if needs_cleaning(vessel):
        raise Blocked(_against("tank", f"{vessel.code} was emptied and not cleaned since"))
    if volume_ul > (vessel.capacity_ul or 0):
        raise Blocked(
            Refusal(
                field="volume_ml",
                value=f"{Decimal(volume_ul) / 1000}",
                limit=f"{Decimal(vessel.capacity_ul or 0) / 1000}",
                unit="mL",
                message="is more than the tank holds",
                accepted="at most what the tank holds",
                rule="capacity",
            )
        )


def _occupied(vessel: Equipment, what: str) -> Conflict:
    return Conflict(
        Refusal(
            field="tank",
            value=vessel.code,
            message=f"holds {what}; lots are never put together",
            accepted="an empty, clean tank",
            rule="one fill in a tank",
        )
    )


def _against(field: str, message: str) -> Refusal:
    return Refusal(field=field, message=message, accepted="a lot and a tank that may be used", rule="tank fill")
