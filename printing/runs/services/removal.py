"""Taking the rafts off the plate with a count per zone; what was lost or mixed up holds its zones."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from dosewright.ground.act import Act, act
from dosewright.ground.fresh import new_code
from dosewright.ground.pure.errors import BadInput, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from printing.plates.queries import PlacedUnit, Zone, batch_row, unit_rows, zones_of
from printing.plates.services import move_batch, move_units
from printing.runs.content import MIX_UP, REMOVAL
from printing.runs.models import Measurement
from printing.runs.services.record import add_deviation, add_step

MOST_UNITS = 100_000


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneCount:
    """What was counted in one zone, and the numbers of units whose place is empty or that were never formed."""

    counted: int
    missing: tuple[int, ...] = ()
    not_printed: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class CountAnswer:
    """A batch or zone after its units were counted, and the deviations that the count opened."""

    code: str
    state: str
    deviations: tuple[str, ...]


def remove_from_plate(actor: Actor, code: str, *, counts: Mapping[str, ZoneCount], at: datetime) -> CountAnswer:
    """Record the rafts taken off the plate with a count of every zone. For technicians.

    A shortage names the numbers of the units; it holds its zone. A surplus is a possible mix-up and holds its
    zone and every zone that is short; no unit changes its zone. Raises NotAllowed, NotThere, Conflict for a
    batch that is not printed, BadInput for a zone that is left out, unknown, or short without numbers.
    """
    batch = batch_row(actor, code)
    with act(actor, "run.remove", at=at, subject=code) as doing:
        zones = {one.code: one for one in zones_of(batch.pk)}
        units = {zone.code: unit_rows(zone.pk) for zone in zones.values()}
        move_batch(doing, batch, "remove")
        refuse_if_any(BadInput, _faults(counts, units))
        for zone in sorted(zones):
            _settle(doing, counts[zone], units[zone])
            keep_count(doing, zones[zone], counts[zone].counted, how="on the raft")
        expected = {zone: len(units[zone]) for zone in zones}
        opened = open_count_deviations(doing, zones, expected, {zone: one.counted for zone, one in counts.items()})
        add_step(doing, batch, REMOVAL, facts={"counts": {zone: one.counted for zone, one in sorted(counts.items())}})
    return CountAnswer(code=code, state=batch.state, deviations=opened)


def keep_count(doing: Act, zone: Zone, counted: int, *, how: str) -> None:
    """Add one count of a zone to the record."""
    Measurement.objects.create(
        code=new_code("measurement"),
        zone=zone,
        kind="count",
        value_text=str(counted),
        how=how,
        by_id=doing.actor.user_id,
        at=doing.at,
    )


def open_count_deviations(
    doing: Act, zones: Mapping[str, Zone], expected: Mapping[str, int], counted: Mapping[str, int]
) -> tuple[str, ...]:
    """Open the deviations that counts call for: one over all zones of a possible mix-up, one per plain shortage."""
    surplus = sorted(zone for zone in counted if counted[zone] > expected[zone])
    short = sorted(zone for zone in counted if counted[zone] < expected[zone])
    said = "; ".join(f"{zone}: {counted[zone]} counted where {expected[zone]} were placed" for zone in surplus + short)
    if surplus:
        row = add_deviation(
            doing,
            kind=MIX_UP,
            text=said,
            effect="units may lie with units of another dose: both zones are held",
            batch_id=zones[surplus[0]].batch_id,
            zone_ids=[zones[zone].pk for zone in surplus + short],
            concerns={doing.actor.user_id},
        )
        return (row.code,)
    return tuple(
        add_deviation(
            doing,
            kind="units missing",
            text=f"{zone}: {counted[zone]} counted where {expected[zone]} were placed",
            effect="units are not accounted for",
            batch_id=zones[zone].batch_id,
            zone_ids=[zones[zone].pk],
            concerns={doing.actor.user_id},
        ).code
        for zone in short
    )


def number_faults(zone: str, numbers: Sequence[int], units: Sequence[PlacedUnit]) -> list[Refusal]:
    """Return what is wrong with the unit numbers that were named for a zone."""
    known = {one.number for one in units}
    wrong = sorted({one for one in numbers if one not in known or numbers.count(one) > 1})
    return [
        Refusal(
            field=zone,
            value=", ".join(map(str, wrong)),
            message="is no number of a unit there, or is named twice",
            accepted="each number once",
            rule="unit number",
        )
    ] * bool(wrong)


def shortage_fault(zone: str, counted: int, named: int, there: int) -> list[Refusal]:
    """Return the refusal of a shortage that the named units do not explain."""
    if named == there - counted:
        return []
    return [
        Refusal(
            field=zone,
            value=f"{counted} counted, {named} named",
            limit=str(there),
            unit="units",
            message="the numbers of the units that are not there must be named, and only those",
            accepted=f"{max(0, there - counted)} numbers",
            rule="shortage",
        )
    ]


def _faults(counts: Mapping[str, ZoneCount], units: Mapping[str, Sequence[PlacedUnit]]) -> list[Refusal]:
    found = [
        Refusal(
            field="counts", value=zone[:40], message="is left out or is no zone of this batch", accepted="every zone"
        )
        for zone in sorted(set(counts) ^ set(units))
    ]
    if found:
        return found
    is_mixed = any(one.counted > len(units[zone]) for zone, one in counts.items())
    for zone, one in sorted(counts.items()):
        named = [*one.missing, *one.not_printed]
        if not 0 <= one.counted <= MOST_UNITS:
            found.append(Refusal(field=zone, value=str(one.counted), message="is no count", accepted="0 or more"))
        found += number_faults(zone, named, units[zone])
        if named or not is_mixed:
            found += shortage_fault(zone, min(one.counted, len(units[zone])), len(named), len(units[zone]))
    return found


def _settle(doing: Act, count: ZoneCount, units: Sequence[PlacedUnit]) -> None:
    gone = set(count.not_printed)
    move_units(doing, [one for one in units if one.number in gone], "drop")
    formed = [one for one in units if one.number not in gone]
    move_units(doing, formed, "print")
    move_units(doing, [one for one in formed if one.number in count.missing], "lose")
