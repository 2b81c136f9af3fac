"""Setting up a substance: how its doses round, what it asks for, and the limits that screening holds."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from dosewright.ground.act import Act, act
from dosewright.ground.pure.canonical import canonical_text
from dosewright.ground.pure.errors import BadInput, Conflict, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from prescriptions.models import DoseLimit, Substance

WHOLE_LIFE_DAYS = 47_500
"""An age nobody passes [days]: the open end of a limit's age band."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitFacts:
    """One limit: ``low_mg``, ``high_mg`` [mg, mg/kg or mg/m2 by ``basis``], ages [days] from and before."""

    per: str
    high_mg: Decimal
    source: str
    since: date
    low_mg: Decimal | None = None
    basis: str = "absolute"
    severity: str = "reason"
    age_from_days: int = 0
    age_to_days: int = WHOLE_LIFE_DAYS
    route: str = "oral"


@dataclass(frozen=True, slots=True, kw_only=True)
class SubstanceFacts:
    """One substance as a pharmacist sets it up; rounding to ``rounding_step_mg`` [mg, > 0]."""

    name: str
    rounding_step_mg: Decimal
    rounding_limit_frac: Decimal
    rounding_source: str
    limits: tuple[LimitFacts, ...] = ()
    warnings: tuple[str, ...] = ()
    weekly_only: bool = False
    controlled: bool = False
    hazardous: bool = False
    narrow_index: bool = False


def set_up_substance(actor: Actor, *, facts: SubstanceFacts, at: datetime) -> str:
    """Set up a substance with its rounding rule and limits and return its name; pharmacists only.

    Raises NotAllowed, BadInput where a figure makes no sense, and Conflict where the site has the name.
    """
    name = " ".join(facts.name.split()).lower()
    with act(actor, "substance.set_up", at=at, subject=name[:40]) as doing:
        refuse_if_any(BadInput, _faults(facts))
        if Substance.objects.filter(site_id=actor.site_id, name=name).exists():
            raise Conflict.because("name", "the site has this substance", value=name, rule="name-taken")
        _create(doing, name, facts)
    return name


def _create(doing: Act, name: str, facts: SubstanceFacts) -> None:
    substance = Substance.objects.create(
        site_id=doing.actor.site_id,
        name=name,
        rounding_step_mg=facts.rounding_step_mg,
        rounding_limit_frac=facts.rounding_limit_frac,
        rounding_source=facts.rounding_source,
        weekly_only=facts.weekly_only,
        controlled=facts.controlled,
        hazardous=facts.hazardous,
        narrow_index=facts.narrow_index,
        warnings_text=canonical_text(list(facts.warnings)),
    )
    for limit in facts.limits:
        DoseLimit.objects.create(
            substance=substance,
            per=limit.per,
            basis=limit.basis,
            low_mg=limit.low_mg,
            high_mg=limit.high_mg,
            severity=limit.severity,
            age_from_days=limit.age_from_days,
            age_to_days=limit.age_to_days,
            route=limit.route,
            source=limit.source,
            since=limit.since,
        )
    doing.note(
        rounding_step_mg=facts.rounding_step_mg,
        rounding_limit_frac=facts.rounding_limit_frac,
        limits=[
            {
                "per": one.per,
                "basis": one.basis,
                "low": one.low_mg,
                "high": one.high_mg,
                "severity": one.severity,
                "from": one.age_from_days,
                "to": one.age_to_days,
            }
            for one in facts.limits
        ],
    )


def _faults(facts: SubstanceFacts) -> list[Refusal]:
    found = []
    if not facts.name.strip():
        found.append(Refusal(field="name", message="is missing", accepted="the name of the moiety"))
    if not facts.rounding_source.strip():
        found.append(Refusal(field="rounding_source", message="says whose rule it is", accepted="a source"))
    if not facts.rounding_step_mg > 0:
        found.append(_out("rounding_step_mg", facts.rounding_step_mg, "over 0", "mg"))
    if not 0 < facts.rounding_limit_frac <= Decimal("0.5"):
        found.append(_out("rounding_limit_frac", facts.rounding_limit_frac, "over 0, to 0.5", "1"))
    for place, limit in enumerate(facts.limits):
        found.extend(_limit_faults(f"limits[{place}]", limit))
    return found


def _limit_faults(place: str, limit: LimitFacts) -> list[Refusal]:
    found = []
    for name, accepted in (
        ("per", ("dose", "day", "course")),
        ("basis", ("absolute", "per kg", "per m2")),
        ("severity", ("block", "reason", "inform")),
    ):
        if getattr(limit, name) not in accepted:
            found.append(
                Refusal(
                    field=f"{place}.{name}",
                    message="is not taken",
                    value=str(getattr(limit, name)),
                    accepted=", ".join(accepted),
                    rule="choice",
                )
            )
    if not limit.source.strip():
        found.append(Refusal(field=f"{place}.source", message="says who gives the limit", accepted="a source"))
    if not limit.high_mg > 0 or (limit.low_mg is not None and not 0 < limit.low_mg <= limit.high_mg):
        found.append(_out(f"{place}.high_mg", limit.high_mg, "over 0 and not below low_mg", "mg"))
    if not 0 <= limit.age_from_days < limit.age_to_days:
        found.append(_out(f"{place}.age_from_days", Decimal(limit.age_from_days), "0 to before age_to_days", "day"))
    return found


def _out(field: str, value: Decimal, accepted: str, unit: str) -> Refusal:
    return Refusal(
        field=field, message="is out of range", value=str(value), accepted=accepted, unit=unit, rule="out-of-bounds"
    )
