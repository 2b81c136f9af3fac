"""Reading equipment and tank fills: what is due, dedicated, dirty, and what is in a tank."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time, timedelta
from decimal import Decimal

from dosewright.ground.pure.errors import BadInput, Blocked, NotThere, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor, authorise_read
from dosewright.ground.rest import KeysetPage
from dosewright.ground.scope import find
from printing.formulary import queries as formulary
from printing.stock.content import EquipmentFacts, TankFillFacts
from printing.stock.models import Equipment, ResinLot, TankFill
from printing.stock.models.equipment import WET_KINDS
from printing.stock.queries import resin_lots
from printing.stock.queries.in_date import against, equipment_blockers
from printing.stock.queries.record import balance_ug
from printing.stock.strength import least_weight_of


@dataclass(frozen=True, slots=True, kw_only=True)
class EquipmentRow:
    """One line of the list of equipment."""

    code: str
    kind: str
    name: str
    formulation: str
    blockers: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TankFillRow:
    """One line of the list of tank fills."""

    code: str
    tank: str
    resin_lot: str
    filled_at: datetime
    emptied_at: datetime | None


def equipment(actor: Actor, code: str, *, at: datetime) -> EquipmentFacts:
    """Return one piece of equipment for people who may see the stock; raises NotAllowed, NotThere."""
    authorise_read(actor, "stock")
    return equipment_facts_of(find(actor, Equipment, code), at=at)


def equipment_facts(code: str, *, at: datetime) -> EquipmentFacts:
    """Return one piece of equipment for other services."""
    return equipment_facts_of(Equipment.objects.get(code=code), at=at)


def equipment_list(
    actor: Actor, *, at: datetime, after: str = "", limit: int = 50, kind: str = ""
) -> KeysetPage[EquipmentRow]:
    """Return a page of equipment by code; raises NotAllowed."""
    authorise_read(actor, "stock")
    rows = Equipment.objects.filter(site_id=actor.site_id, code__gt=after).select_related("site")
    if kind:
        rows = rows.filter(kind=kind)
    found = list(rows.order_by("code")[: limit + 1])
    items = tuple(
        EquipmentRow(
            code=one.code,
            kind=one.kind,
            name=one.name,
            formulation=one.formulation_code,
            blockers=tuple(refusal.message for refusal in equipment_blockers(one, at=at)),
        )
        for one in found[:limit]
    )
    return KeysetPage(items=items, next_after=items[-1].code if len(found) > limit else "")


def equipment_for_use(actor: Actor, code: str, *, kind: str, formulation: str = "", at: datetime) -> Equipment:
    """Return the row of a piece of equipment that may be used now for a formulation.

    Raises NotThere; Blocked for another kind, an overdue or failed check, or a dedication to another formulation.
    """
    row = find(actor, Equipment, code)
    found = list(equipment_blockers(row, at=at))
    if row.kind != kind:
        found.append(against(row, f"is a {row.kind}", f"a {kind}"))
    elif row.kind in WET_KINDS and row.formulation_code != formulation:
        found.append(against(row, f"is dedicated to formulation {row.formulation_code}", f"a {kind} of {formulation}"))
    refuse_if_any(Blocked, found)
    return row


def equipment_id(site_id: int, code: str, *, kind: str) -> int:
    """Return the row of a piece of equipment of a kind; raises NotThere, BadInput for another kind."""
    row = Equipment.objects.filter(site_id=site_id, code=code).first()
    if row is None:
        raise NotThere.because("equipment", "no such equipment at this site", value=code[:40], accepted=f"a {kind}")
    if row.kind != kind:
        raise BadInput.because("equipment", f"is a {row.kind}", value=row.code, accepted=f"a {kind}")
    return row.pk


def equipment_facts_of(row: Equipment, *, at: datetime) -> EquipmentFacts:
    """Return the facts of a piece of equipment's row at a time."""
    last, cleaned = row.checks.order_by("pk").last(), row.cleanings.order_by("pk").last()
    is_balance = row.resolution_ug is not None and row.repeatability_ug is not None
    inside = row.fills.filter(emptied_at=None).first()
    return EquipmentFacts(
        code=row.code,
        version=row.version,
        kind=row.kind,
        name=row.name,
        formulation=row.formulation_code,
        due_on=last.due_on if last else None,
        last_check="" if last is None else f"{'passed' if last.passed else 'failed'}: {last.result_text}",
        last_cleaned_at=cleaned.at if cleaned else None,
        resolution_mg=_mg(row.resolution_ug),
        repeatability_mg=_mg(row.repeatability_ug),
        least_weight_mg=least_weight_of(row.resolution_ug or 0, row.repeatability_ug or 0) if is_balance else None,
        capacity_ml=_mg(row.capacity_ul),
        tank_fill=inside.code if inside else "",
        blockers=equipment_blockers(row, at=at),
    )


def needs_cleaning(row: Equipment) -> bool:
    """Say whether a tank was emptied and not cleaned since."""
    emptied = row.fills.exclude(emptied_at=None).order_by("emptied_at").last()
    if emptied is None or emptied.emptied_at is None:
        return False
    return not row.cleanings.filter(at__gte=emptied.emptied_at).exists()


def tank_fill(actor: Actor, code: str, *, at: datetime) -> TankFillFacts:
    """Return one tank fill for people who may see the stock; raises NotAllowed, NotThere."""
    authorise_read(actor, "stock")
    return fill_facts_of(find(actor, TankFill, code), at=at)


def tank_fill_facts(code: str, *, at: datetime) -> TankFillFacts:
    """Return one tank fill for other services; `at` decides whether it is still good."""
    return fill_facts_of(TankFill.objects.get(code=code), at=at)


def fill_in_tank(tank: str, *, at: datetime) -> TankFillFacts | None:
    """Return what is in a tank now, None when it is empty."""
    row = TankFill.objects.filter(tank__code=tank, emptied_at=None).first()
    return None if row is None else fill_facts_of(row, at=at)


def tank_fills(
    actor: Actor, *, after: str = "", limit: int = 50, tank: str = "", resin_lot: str = ""
) -> KeysetPage[TankFillRow]:
    """Return a page of tank fills by code; raises NotAllowed."""
    authorise_read(actor, "stock")
    rows = TankFill.objects.filter(site_id=actor.site_id, code__gt=after).select_related("tank", "resin_lot")
    if tank:
        rows = rows.filter(tank__code=tank)
    if resin_lot:
        rows = rows.filter(resin_lot__code=resin_lot)
    found = list(rows.order_by("code")[: limit + 1])
    items = tuple(
        TankFillRow(
            code=one.code,
            tank=one.tank.code,
            resin_lot=one.resin_lot.code,
            filled_at=one.filled_at,
            emptied_at=one.emptied_at,
        )
        for one in found[:limit]
    )
    return KeysetPage(items=items, next_after=items[-1].code if len(found) > limit else "")


def fill_facts_of(row: TankFill, *, at: datetime) -> TankFillFacts:
    """Return the facts of a tank fill's row at a time."""
    lot = row.resin_lot
    until = good_until(row)
    facts = resin_lots.resin_lot_facts(lot.code, at=at)
    found = list(facts.blockers)
    if row.emptied_at is not None:
        found.append(_spent(row, "was emptied"))
    if at > until:
        found.append(_spent(row, f"was good until {until.isoformat()}"))
    left_ug = balance_ug(lot.code, row.code)
    return TankFillFacts(
        code=row.code,
        version=row.version,
        tank=row.tank.code,
        tank_name=row.tank.name,
        resin_lot=lot.code,
        formulation=facts.formulation,
        filled_at=row.filled_at,
        filled_by=row.filled_by.printed_name,
        good_until=until,
        emptied_at=row.emptied_at,
        volume_ml=Decimal(row.volume_ul) / 1000,
        left_ml=(Decimal(left_ug) / 1000 / facts.density_g_cm3 / 1000).quantize(Decimal("0.001")),
        blockers=tuple(found),
    )


def _spent(row: TankFill, message: str) -> Refusal:
    return Refusal(field="tank_fill", value=row.code, message=message, accepted="a fill in date", rule="tank fill")


def good_until(row: TankFill) -> datetime:
    """Return the end of a fill's life: its hours in the tank, or the end of the day its lot expires."""
    lot: ResinLot = row.resin_lot
    hours = formulary.facts_by_id(lot.formulation_id).tank_life_hours or row.site.values.tank_life_hours
    own = row.filled_at + timedelta(hours=hours)
    last = resin_lots.expiry_of(lot)
    if last is None:
        return own
    return min(own, datetime.combine(last + timedelta(days=1), time(), tzinfo=row.site.zone))


def _mg(amount_ug: int | None) -> Decimal | None:
    return None if amount_ug is None else Decimal(amount_ug) / 1000
