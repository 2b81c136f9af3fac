"""Equipment: registered by the site manager, checked until a date, cleaned."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

from dosewright.ground.act import Act, act
from dosewright.ground.fresh import new_code
from dosewright.ground.pure.errors import BadInput, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find
from printing.formulary.queries import formulation_facts
from printing.stock.models import Cleaning, Equipment, EquipmentCheck
from printing.stock.models.equipment import KINDS, WET_KINDS
from printing.stock.services.movements import whole

MOST_MG = Decimal(1_000_000)
MOST_ML = Decimal(1_000_000)


def register_equipment(
    actor: Actor,
    *,
    kind: str,
    name: str,
    due_on: date,
    check: str,
    at: datetime,
    formulation: str = "",
    resolution_mg: Decimal | None = None,
    repeatability_mg: Decimal | None = None,
    capacity_ml: Decimal | None = None,
) -> str:
    """Register a piece of equipment with its first check, in date until `due_on`; return its code.

    Wet equipment names the one formulation it is for, a balance its scale interval and repeatability, a tank its
    capacity. For site managers. Raises NotAllowed, BadInput, NotThere.
    """
    with act(actor, "equipment.register", at=at) as doing:
        refuse_if_any(BadInput, _faults(kind, formulation, resolution_mg, repeatability_mg, capacity_ml))
        if formulation:
            formulation = formulation_facts(actor.site_id, formulation).code
        row = Equipment.objects.create(
            code=new_code("equipment"),
            site_id=actor.site_id,
            kind=kind,
            name=name,
            formulation_code=formulation,
            resolution_ug=_ug("resolution_mg", resolution_mg),
            repeatability_ug=_ug("repeatability_mg", repeatability_mg),
            capacity_ul=None
            if capacity_ml is None
            else whole("capacity_ml", capacity_ml, per=1000, unit="mL", most=MOST_ML),
        )
        doing.subject = row.code
        _add_check(doing, row, due_on=due_on, passed=True, result=check)
        doing.note(kind=kind, formulation=formulation)
    return row.code


def check_equipment(actor: Actor, code: str, *, due_on: date, passed: bool, result: str, at: datetime) -> str:
    """Record a calibration or inspection and until when it counts. For site managers and technicians.

    Raises NotAllowed, NotThere, BadInput.
    """
    with act(actor, "equipment.check", at=at, subject=code[:20]) as doing:
        row = find(actor, Equipment, code)
        _add_check(doing, row, due_on=due_on, passed=passed, result=result)
    return row.code


def clean_equipment(actor: Actor, code: str, *, how: str, at: datetime) -> str:
    """Record a cleaning. For technicians. Raises NotAllowed, NotThere, BadInput while a fill is in the tank."""
    with act(actor, "equipment.clean", at=at, subject=code[:20]) as doing:
        row = find(actor, Equipment, code)
        if not how.strip():
            raise BadInput.because("how", "how it was cleaned must be said", accepted="the procedure or agent")
        inside = row.fills.filter(emptied_at=None).first()
        if inside is not None:
            raise BadInput(
                Refusal(
                    field="equipment",
                    value=row.code,
                    message=f"holds tank fill {inside.code}",
                    accepted="an empty tank",
                    rule="tank fill",
                )
            )
        Cleaning.objects.create(equipment=row, at=at, by_id=actor.user_id, how=how)
        doing.note(how=how)
    return row.code


def _add_check(doing: Act, row: Equipment, *, due_on: date, passed: bool, result: str) -> None:
    today = doing.at.astimezone(row.site.zone).date()
    if passed and due_on < today:
        raise BadInput.because(
            "due_on",
            "is past already",
            value=due_on.isoformat(),
            limit=today.isoformat(),
            accepted="today or later",
        )
    if not result.strip():
        raise BadInput.because("result", "what was found must be said", accepted="one sentence")
    EquipmentCheck.objects.create(
        equipment=row, at=doing.at, by_id=doing.actor.user_id, due_on=due_on, passed=passed, result_text=result
    )
    doing.note(due_on=due_on, passed=passed)


def _faults(
    kind: str,
    formulation: str,
    resolution_mg: Decimal | None,
    repeatability_mg: Decimal | None,
    capacity_ml: Decimal | None,
) -> list[Refusal]:
    found = []
    if kind not in KINDS:
        found.append(Refusal(field="kind", value=kind[:40], message="is not known", accepted=", ".join(KINDS)))
    wanted = (
        ("formulation", kind in WET_KINDS, bool(formulation), "the formulation that it is dedicated to"),
        ("resolution_mg", kind == "balance", resolution_mg is not None, "the scale interval of a balance"),
        (
            "repeatability_mg",
            kind == "balance",
            repeatability_mg is not None,
            "the standard deviation of ten weighings",
        ),
        ("capacity_ml", kind == "tank", capacity_ml is not None, "the capacity of a tank"),
    )
    for field, needed, given, accepted in wanted:
        if needed and not given:
            found.append(Refusal(field=field, message=f"is missing for a {kind}", accepted=accepted, rule="missing"))
    return found


def _ug(field: str, value_mg: Decimal | None) -> int | None:
    if value_mg is None:
        return None
    if field == "repeatability_mg" and value_mg == 0:
        return 0
    return whole(field, value_mg, per=1000, unit="mg", most=MOST_MG)
