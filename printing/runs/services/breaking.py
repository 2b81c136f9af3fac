"""Breaking units off their rafts, one zone at a time; looking at them; rejecting, losing and finding single units."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from dosewright.ground.act import act
from dosewright.ground.fresh import new_code
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from printing.plates.queries import PlacedUnit, Zone, unit_rows, unit_zone, zone_row, zones_of
from printing.plates.services import move_units
from printing.runs.content import APPEARANCES, BREAK_OFF, REJECTED_FOR
from printing.runs.models import Measurement
from printing.runs.queries.measured import counts_of, measured_units
from printing.runs.queries.steps import is_broken_off
from printing.runs.services.record import add_deviation, add_step
from printing.runs.services.removal import (
    CountAnswer,
    keep_count,
    number_faults,
    open_count_deviations,
    shortage_fault,
)


def break_off(actor: Actor, code: str, *, counted: int, missing: Sequence[int] = (), at: datetime) -> CountAnswer:
    """Break the units of one zone off their raft and count them. For technicians.

    Only the zone whose turn it is, and only when the units of the one before it are weighed. A shortage names
    its numbers; a surplus is a possible mix-up. Raises NotAllowed, NotThere, BadInput, Conflict, Blocked.
    """
    zone = zone_row(actor, code)
    with act(actor, "run.break_off", at=at, subject=code) as doing:
        must_be_testing(zone)
        if is_broken_off(zone.pk):
            raise Conflict.because(code, "is broken off already", accepted="the next zone", rule="break-off")
        zones = zones_of(zone.batch_id)
        refuse_if_any(Blocked, _not_its_turn(zone, zones))
        units = [one for one in unit_rows(zone.pk) if one.state == "printed"]
        named = list(missing)
        found = number_faults(code, named, units)
        if counted <= len(units):
            found += shortage_fault(code, counted, len(named), len(units))
        refuse_if_any(BadInput, found)
        move_units(doing, [one for one in units if one.number in named], "lose")
        keep_count(doing, zone, counted, how="broken off")
        by_code = {one.code: one for one in zones}
        expected, seen = _against_expected(zones, zone, units, counted)
        opened = open_count_deviations(doing, by_code, expected, seen)
        add_step(doing, zone.batch, BREAK_OFF, zone=zone, facts={"counted": counted, "missing": named})
    return CountAnswer(code=code, state=zone.state, deviations=opened)


def record_appearance(
    actor: Actor, code: str, *, looked_at: int, defects: Mapping[int, str], at: datetime
) -> CountAnswer:
    """Record that every unit of a broken-off zone was looked at; `defects` names those that are not free of any.

    ``looked_at`` is how many units the technician looked at: all that the zone holds, or nothing is kept. Major and
    critical defects reject the unit. For technicians. Raises NotAllowed, NotThere, BadInput, Conflict.
    """
    zone = zone_row(actor, code)
    with act(actor, "run.appearance", at=at, subject=code) as doing:
        must_be_broken_off(zone)
        units = [one for one in unit_rows(zone.pk) if one.state in {"printed", "tested"}]
        found = number_faults(code, list(defects), units)
        found += [
            Refusal(field=f"number {number}", value=seen[:40], message="is no class of defect", accepted=_classes())
            for number, seen in sorted(defects.items())
            if seen not in APPEARANCES
        ]
        refuse_if_any(BadInput, found)
        seen_before = measured_units([zone.pk])
        waiting = [one for one in units if one.pk not in seen_before or not seen_before[one.pk].appearance]
        if not waiting or any(number not in {one.number for one in waiting} for number in defects):
            raise Conflict.because(
                code, "was looked at already", accepted="a correction with a reason", rule="measured"
            )
        refuse_if_any(BadInput, _not_all_looked_at(looked_at, len(waiting)))
        for unit in waiting:
            Measurement.objects.create(
                code=new_code("measurement"),
                zone=zone,
                unit=unit,
                kind="appearance",
                value_text=defects.get(unit.number, "none"),
                how="looked at",
                by_id=actor.user_id,
                at=at,
            )
        bad = [one for one in waiting if defects.get(one.number) in REJECTED_FOR and one.state == "printed"]
        move_units(doing, bad, "reject")
        doing.note(looked_at=len(waiting), defects={str(number): seen for number, seen in sorted(defects.items())})
    return CountAnswer(code=code, state=zone.state, deviations=())


def _not_all_looked_at(looked_at: int, waiting: int) -> list[Refusal]:
    if looked_at == waiting:
        return []
    message = "is not how many units of this zone wait to be looked at"
    return [
        Refusal(field="looked_at", value=str(looked_at), message=message, accepted="every unit looked at, and counted")
    ]


def reject_unit(actor: Actor, code: str, *, reason: str, at: datetime) -> CountAnswer:
    """Reject one unit for a reason. For technicians, pharmacists. Raises NotAllowed, NotThere, BadInput, Conflict."""
    zone = zone_row(actor, unit_zone(code, site_id=actor.site_id))
    with act(actor, "run.reject_unit", at=at, subject=code, reason=reason[:200]) as doing:
        need_reason(reason)
        must_be_broken_off(zone)
        move_units(doing, [_unit(zone, code)], "reject")
    return CountAnswer(code=code, state="rejected", deviations=())


def find_unit(actor: Actor, code: str, *, where: str, at: datetime) -> CountAnswer:
    """Record that a unit that was not accounted for was found; the deviation stays open. For technicians.

    Raises NotAllowed, NotThere, BadInput, Conflict for a unit that was not missed.
    """
    zone = zone_row(actor, unit_zone(code, site_id=actor.site_id))
    with act(actor, "run.find_unit", at=at, subject=code, reason=where[:200]) as doing:
        need_reason(where)
        must_be_open(zone)
        move_units(doing, [_unit(zone, code)], "find")
        deviation = add_deviation(
            doing,
            kind="unit found",
            text=f"{code} of {zone.code} was found: {where.strip()}"[:500],
            effect="a unit that was out of sight must not be packed unless the investigation allows it",
            batch_id=zone.batch_id,
            zone_ids=[zone.pk],
            concerns={actor.user_id},
        )
    return CountAnswer(code=code, state="printed", deviations=(deviation.code,))


def must_be_testing(zone: Zone) -> None:
    """Raise Conflict unless the zone is open and its batch is in testing."""
    if zone.batch.state != "testing":
        raise Conflict.because(
            zone.batch.code, f"is {zone.batch.state}", accepted="a batch whose finishing has ended", rule="state"
        )
    must_be_open(zone)


def must_be_open(zone: Zone) -> None:
    """Raise Conflict when the zone has its verdict: evidence is not changed under it."""
    if zone.state != "open":
        raise Conflict.because(zone.code, f"is {zone.state}", accepted="a zone without a verdict", rule="state")


def must_be_broken_off(zone: Zone) -> None:
    """Raise Conflict unless the zone's units can be looked at and weighed."""
    must_be_testing(zone)
    if not is_broken_off(zone.pk):
        raise Conflict.because(zone.code, "is on its raft", accepted="a zone that is broken off", rule="break-off")


def need_reason(reason: str) -> None:
    """Raise BadInput for an empty reason."""
    if len(reason.strip()) < 3:
        raise BadInput.because("reason", "this needs a reason", accepted="one sentence")


def _unit(zone: Zone, code: str) -> PlacedUnit:
    return next(one for one in unit_rows(zone.pk) if one.code == code)


def _classes() -> str:
    return ", ".join(APPEARANCES)


def _not_its_turn(zone: Zone, zones: Sequence[Zone]) -> list[Refusal]:
    found = []
    for other in zones:
        if other.pk == zone.pk:
            continue
        broken = is_broken_off(other.pk)
        if broken and _has_unweighed(other):
            found.append(
                Refusal(
                    field="zone",
                    value=other.code,
                    message="is broken off and not weighed: one zone at a time",
                    accepted=f"weigh {other.code} first",
                    rule="one zone at a time",
                )
            )
        if not broken and other.removal_order < zone.removal_order:
            found.append(
                Refusal(
                    field="zone",
                    value=zone.code,
                    limit=other.code,
                    message="is not the next zone of the plate map",
                    accepted=other.code,
                    rule="order of removal",
                )
            )
    return found


def _has_unweighed(zone: Zone) -> bool:
    weighed = measured_units([zone.pk])
    return any(
        one.state == "printed" and (one.pk not in weighed or weighed[one.pk].mass_ng is None)
        for one in unit_rows(zone.pk)
    )


def _against_expected(
    zones: Sequence[Zone], zone: Zone, units: Sequence[PlacedUnit], counted: int
) -> tuple[dict[str, int], dict[str, int]]:
    """Return expected and counted units of this zone and, for a surplus, of those that were counted short."""
    expected, seen = {zone.code: len(units)}, {zone.code: counted}
    if counted > len(units):
        for other in zones:
            counts = counts_of(other.pk)
            placed = sum(one.state != "not printed" for one in unit_rows(other.pk))
            if other.pk != zone.pk and counts and counts[-1] < placed:
                expected[other.code], seen[other.code] = placed, counts[-1]
    return expected, seen
