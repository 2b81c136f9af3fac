"""Masses and contents: exact as they were read; a wrong one is corrected by a new value that names the old one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import IntegrityError, transaction

from dosewright.ground.act import Act, act
from dosewright.ground.fresh import new_code
from dosewright.ground.models import Site
from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotThere, Refusal, refuse_if_any
from dosewright.ground.pure.quantities import parse_decimal
from dosewright.ground.pure.roles import Actor
from printing.core.quality.inprocess import FindingKind
from printing.plates.queries import PlacedUnit, Zone, unit_rows, unit_zone, zone_row, zones_of
from printing.plates.services import move_units
from printing.runs.content import APPEARANCES, MIX_UP, REJECTED_FOR
from printing.runs.models import Measurement
from printing.runs.queries.deviations import open_mix_up
from printing.runs.queries.evidence import plate_masses
from printing.runs.queries.measured import NG_PER_MG, measured_units, mg
from printing.runs.services.breaking import must_be_broken_off, need_reason
from printing.runs.services.record import add_deviation
from printing.stock.queries import equipment_for_use

NG_PER_UG = 1000
SANE_FACTOR = 4
"""A value more than four times above or below what is predicted is a slip of the pen or of the decimal point
(judgement, no source): it is refused, never kept."""

ACTIONS = {"mass": "run.mass", "content": "run.content", "appearance": "run.appearance", "count": "run.remove"}


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureAnswer:
    """What was kept: the measurements by unit code, and the deviations that they opened."""

    zone: str
    measurements: tuple[tuple[str, str], ...]
    deviations: tuple[str, ...]


def record_masses(actor: Actor, code: str, *, masses_mg: Sequence[str], balance: str, at: datetime) -> MeasureAnswer:
    """Keep the masses of the units of a broken-off zone that have none yet, in the order of their numbers.

    For technicians. A mass that fits a neighbour's zone better holds both zones. Raises NotAllowed, NotThere,
    Conflict; BadInput when there are more or fewer masses than units, for a value that is no mass or no reading
    of the balance; Blocked for a balance that may not be used.
    """
    zone = zone_row(actor, code)
    with act(actor, "run.mass", at=at, subject=code) as doing:
        must_be_broken_off(zone)
        scale = equipment_for_use(actor, balance, kind="balance", at=at)
        done = measured_units([zone.pk])
        waiting = [
            one
            for one in unit_rows(zone.pk)
            if one.state == "printed" and (one.pk not in done or done[one.pk].mass_ng is None)
        ]
        values = _masses(masses_mg, waiting, scale.resolution_ug or 0)
        kept = [
            _keep(doing, zone, unit, "mass", value, how="weighed singly", instrument_id=scale.pk)
            for unit, value in zip(waiting, values, strict=True)
        ]
        doing.note(balance=scale.code, masses=len(kept))
        opened = _open_mix_ups(doing, zone)
    pairs = tuple((unit.code, row.code) for unit, row in zip(waiting, kept, strict=True))
    return MeasureAnswer(zone=code, measurements=pairs, deviations=opened)


def record_content(actor: Actor, unit: str, *, content_mg: str, method: str, at: datetime) -> MeasureAnswer:
    """Keep the assay of one weighed unit of a test zone; the unit is used up. For technicians and pharmacists.

    Raises NotAllowed, NotThere, BadInput, Conflict; Blocked for a patient's unit or one that was not weighed.
    """
    zone = zone_row(actor, unit_zone(unit, site_id=actor.site_id))
    with act(actor, "run.content", at=at, subject=unit) as doing:
        must_be_broken_off(zone)
        row = next(one for one in unit_rows(zone.pk) if one.code == unit)
        refuse_if_any(Blocked, _not_testable(zone, row))
        if not 3 <= len(method.strip()) <= 60:
            raise BadInput.because("method", "how it was assayed must be said", accepted="3 to 60 characters")
        value = nanograms(f"{unit} content", content_mg, near_ng=row.predicted_content_ng)
        kept = _keep(doing, zone, row, "content", value, how=method.strip())
        move_units(doing, [row], "test")
    return MeasureAnswer(zone=zone.code, measurements=((unit, kept.code),), deviations=())


def correct_measurement(actor: Actor, code: str, *, value: str, reason: str, at: datetime) -> MeasureAnswer:
    """Replace a wrong value by a new row that names the old one and why; the old one stays. For who may measure it.

    Raises NotAllowed, NotThere, BadInput, Conflict for a value that was corrected already or a zone with a
    verdict, Blocked for a count that is not what the units on record are.
    """
    old = Measurement.objects.select_related("unit").filter(code=code, zone__batch__site_id=actor.site_id).first()
    if old is None:
        raise NotThere.because("measurement", "no such measurement at this site", value=code[:40], rule="code")
    zone = zone_row(actor, old.zone.code)
    with act(actor, ACTIONS[old.kind], at=at, subject=zone.code, reason=reason[:200]) as doing:
        need_reason(reason)
        must_be_broken_off(zone)
        if Measurement.objects.filter(corrects=old).exists():
            raise Conflict.because(code, "was corrected already", accepted="the value that stands", rule="corrected")
        row = _corrected(doing, zone, old, value.strip(), reason.strip()[:200])
        doing.wrote(code, old.kind, old=old.value_text or old.value_ng, new=row.value_text or row.value_ng)
        opened = _open_mix_ups(doing, zone) if old.kind == "mass" else ()
    return MeasureAnswer(
        zone=zone.code, measurements=((old.unit.code if old.unit else "", row.code),), deviations=opened
    )


def nanograms(field: str, text: str, *, near_ng: int, step_ng: int = 1) -> int:
    """Return milligrams as written in whole nanograms, exactly.

    near_ng: what is predicted; a value more than `SANE_FACTOR` times away is refused as a slip.  step_ng: scale
    interval.  Raises BadInput.

    >>> nanograms("content", "0.0497", near_ng=50_000)
    49700
    """
    low, high = (mg(near_ng) / SANE_FACTOR, mg(near_ng) * SANE_FACTOR)
    accepted = f"{decimal_text(low)} to {decimal_text(high)} mg, as the instrument shows it"
    value = parse_decimal(str(text).strip(), field=field)
    scaled = value * NG_PER_MG
    if scaled != scaled.to_integral_value() or (step_ng > 1 and int(scaled) % step_ng):
        raise BadInput.because(
            field,
            "is finer than what is read",
            value=str(text)[:40],
            unit="mg",
            accepted=f"steps of {decimal_text(mg(step_ng))} mg",
        )
    if not low <= value <= high:
        raise BadInput.because(
            field, "is far from what is predicted: a slip?", value=str(text)[:40], unit="mg", accepted=accepted
        )
    return int(scaled)


def _masses(masses_mg: Sequence[str], units: Sequence[PlacedUnit], step_ug: int) -> list[int]:
    if not units or len(masses_mg) != len(units):
        raise BadInput(
            Refusal(
                field="masses_mg",
                value=str(len(masses_mg)),
                limit=str(len(units)),
                unit="masses",
                message="there must be one mass for each unit that has none",
                accepted=f"{len(units)} masses: numbers {', '.join(str(one.number) for one in units)}",
                rule="one mass per unit",
            )
        )
    values: list[int] = []
    refusals: list[Refusal] = []
    for unit, text in zip(units, masses_mg, strict=True):
        try:
            values.append(
                nanograms(
                    f"number {unit.number}",
                    text,
                    near_ng=unit.predicted_mass_ug * NG_PER_UG,
                    step_ng=max(1, step_ug) * NG_PER_UG,
                )
            )
        except BadInput as refused:
            refusals += refused.refusals
    refuse_if_any(BadInput, refusals)
    return values


def _keep(
    doing: Act, zone: Zone, unit: PlacedUnit, kind: str, value_ng: int, *, how: str, instrument_id: int | None = None
) -> Measurement:
    try:
        with transaction.atomic():
            return Measurement.objects.create(
                code=new_code("measurement"),
                zone=zone,
                unit=unit,
                kind=kind,
                value_ng=value_ng,
                how=how,
                instrument_id=instrument_id,
                by_id=doing.actor.user_id,
                at=doing.at,
            )
    except IntegrityError:
        raise Conflict.because(
            unit.code, f"has a {kind} already", accepted="a correction with a reason", rule="measured"
        ) from None


def _not_testable(zone: Zone, unit: PlacedUnit) -> list[Refusal]:
    found = []
    if zone.line_id is not None:
        found.append(
            Refusal(field=unit.code, message="is a patient's unit", accepted="a unit of a test zone", rule="test unit")
        )
    weighed = measured_units([zone.pk]).get(unit.pk)
    if weighed is None or weighed.mass_ng is None:
        found.append(Refusal(field=unit.code, message="was not weighed", accepted="a weighed unit", rule="weigh first"))
    return found


def _corrected(doing: Act, zone: Zone, old: Measurement, value: str, reason: str) -> Measurement:
    text, amount_ng = "", None
    if old.kind in {"mass", "content"} and old.unit is not None:
        is_mass = old.kind == "mass"
        near = old.unit.predicted_mass_ug * NG_PER_UG if is_mass else old.unit.predicted_content_ng
        step = (old.instrument.resolution_ug or 1) * NG_PER_UG if old.instrument else 1
        amount_ng = nanograms(old.kind, value, near_ng=near, step_ng=step)
    elif old.kind == "appearance" and old.unit is not None:
        text = _appearance(doing, zone, old, value)
    else:
        text = _count(zone, value)
    return Measurement.objects.create(
        code=new_code("measurement"),
        zone=zone,
        unit=old.unit,
        kind=old.kind,
        value_ng=amount_ng,
        value_text=text,
        how=old.how,
        instrument=old.instrument,
        by_id=doing.actor.user_id,
        at=doing.at,
        corrects=old,
        reason=reason,
    )


def _appearance(doing: Act, zone: Zone, old: Measurement, value: str) -> str:
    if value not in APPEARANCES:
        raise BadInput.because("value", "is no class of defect", value=value[:40], accepted=", ".join(APPEARANCES))
    unit = next(one for one in unit_rows(zone.pk) if one.pk == old.unit_id)
    if value in REJECTED_FOR and unit.state == "printed":
        move_units(doing, [unit], "reject")
    return value


def _count(zone: Zone, value: str) -> str:
    there = sum(one.state not in {"not printed", "unaccounted"} for one in unit_rows(zone.pk))
    if value != str(there):
        raise Blocked(
            Refusal(
                field="count",
                value=value[:40],
                limit=str(there),
                unit="units",
                message="is not what the units on record are",
                accepted="a recount that agrees, or the units' own states corrected first",
                rule="count",
            )
        )
    return value


def _open_mix_ups(doing: Act, zone: Zone) -> tuple[str, ...]:
    """Open one deviation for each pair of zones whose masses say that a unit of one lies in the other."""
    site = Site.objects.get(pk=doing.actor.site_id).values
    verdict = plate_masses(zone.batch_id, site)
    rows = {one.code: one for one in zones_of(zone.batch_id)}
    pairs: dict[frozenset[str], list[str]] = {}
    for one in verdict.findings if verdict else ():
        if one.kind is FindingKind.MIX_UP and one.other_zone is not None:
            said = f"{one.unit} in {one.zone} weighs {one.measured_mg} mg, as units of {one.other_zone} do"
            pairs.setdefault(frozenset({one.zone, one.other_zone}), []).append(said)
    return tuple(
        add_deviation(
            doing,
            kind=MIX_UP,
            text="; ".join(said)[:2000],
            effect="units may lie with units of another dose: both zones are held",
            batch_id=zone.batch_id,
            zone_ids=[rows[one].pk for one in sorted(pair)],
            concerns={doing.actor.user_id},
        ).code
        for pair, said in sorted(pairs.items(), key=lambda item: sorted(item[0]))
        if not open_mix_up(pair, MIX_UP)
    )
