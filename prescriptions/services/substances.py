"""Setting up a substance: how its doses round, what it asks for, and the limits that screening holds."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal

from dosewright.ground.act import Act, act
from dosewright.ground.pure.canonical import canonical_text
from dosewright.ground.pure.errors import BadInput, Conflict, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from prescriptions.models import DoseLimit, Substance, SubstanceName
from prescriptions.queries.naming import tidy_name
from prescriptions.substance_facts import FORM, SYNONYM, LimitFacts, SubstanceFacts


def set_up_substance(actor: Actor, *, facts: SubstanceFacts, at: datetime) -> str:
    """Set up a substance with its names, rounding rule and limits and return its name; pharmacists only.

    Raises NotAllowed, BadInput where a figure makes no sense, and Conflict where the site has one of the names.
    """
    name = tidy_name(facts.name)
    with act(actor, "substance.set_up", at=at, subject=name[:40]) as doing:
        refuse_if_any(BadInput, _faults(facts))
        refuse_if_any(Conflict, _taken(doing, (name, *(tidy_name(one.name) for one in facts.names))))
        _create(doing, name, facts)
    return name


def _taken(doing: Act, names: Sequence[str]) -> list[Refusal]:
    """One name means one thing at a site, or an order could be taken for another substance's."""
    site_id = doing.actor.site_id
    taken = set(Substance.objects.filter(site_id=site_id, name__in=names).values_list("name", flat=True))
    taken |= set(SubstanceName.objects.filter(site_id=site_id, name__in=names).values_list("name", flat=True))
    return [
        Refusal(
            field="name",
            message="the site has this substance, or a substance of this name",
            value=name[:80],
            accepted="a name that means nothing yet",
            rule="name-taken",
        )
        for name in names
        if name in taken
    ]


def _create(doing: Act, name: str, facts: SubstanceFacts) -> None:
    substance = Substance.objects.create(
        site_id=doing.actor.site_id,
        name=name,
        moiety=tidy_name(facts.moiety) or name,
        moiety_frac=facts.moiety_frac,
        rounding_step_mg=facts.rounding_step_mg,
        rounding_limit_frac=facts.rounding_limit_frac,
        rounding_source=facts.rounding_source,
        weekly_only=facts.weekly_only,
        controlled=facts.controlled,
        hazardous=facts.hazardous,
        narrow_index=facts.narrow_index,
        warnings_text=canonical_text(list(facts.warnings)),
    )
    for other in facts.names:
        SubstanceName.objects.create(
            site_id=doing.actor.site_id,
            substance=substance,
            name=tidy_name(other.name),
            kind=other.kind,
            form_frac=other.form_frac,
            source=other.source,
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
            from_kg=limit.from_kg,
            to_kg=limit.to_kg,
            route=limit.route,
            source=limit.source,
            since=limit.since,
        )
    doing.note(
        moiety=substance.moiety,
        moiety_frac=facts.moiety_frac,
        names=[{"name": tidy_name(one.name), "kind": one.kind, "form_frac": one.form_frac} for one in facts.names],
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
                "from_kg": one.from_kg,
                "to_kg": one.to_kg,
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
    if not 0 < facts.moiety_frac <= 1:
        found.append(_out("moiety_frac", facts.moiety_frac, "over 0, to 1", "1"))
    found.extend(_name_faults(facts))
    for place, limit in enumerate(facts.limits):
        found.extend(_limit_faults(f"limits[{place}]", limit))
    return found


def _name_faults(facts: SubstanceFacts) -> list[Refusal]:
    found = []
    names = [tidy_name(facts.name), *(tidy_name(one.name) for one in facts.names)]
    for place, one in enumerate(facts.names):
        if not names[place + 1] or names[place + 1] in names[: place + 1]:
            accepted = "a name that stands here once"
            found.append(Refusal(field=f"names[{place}].name", message="is empty or stands twice", accepted=accepted))
        if not one.source.strip():
            found.append(Refusal(field=f"names[{place}].source", message="says who gives it", accepted="a source"))
        sound = one.form_frac is None if one.kind == SYNONYM else one.form_frac is not None and 0 < one.form_frac < 10
        if one.kind not in {SYNONYM, FORM} or not sound:
            found.append(
                Refusal(
                    field=f"names[{place}].form_frac",
                    message="a synonym has no mass of its own, and a form must say what 1 mg of it makes",
                    value=f"{one.kind}, {one.form_frac}",
                    accepted="a synonym without, or a form with a fraction over 0 and under 10",
                    rule="form",
                )
            )
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
    if limit.from_kg is not None and limit.to_kg is not None and not limit.from_kg < limit.to_kg:
        found.append(_out(f"{place}.from_kg", limit.from_kg, "below to_kg", "kg"))
    return found


def _out(field: str, value: Decimal, accepted: str, unit: str) -> Refusal:
    return Refusal(
        field=field, message="is out of range", value=str(value), accepted=accepted, unit=unit, rule="out-of-bounds"
    )
