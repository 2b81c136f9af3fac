"""Reading the batch record: steps, finishing ranges, who did what."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from printing.formulary.models import FinishStep
from printing.runs.content import BREAK_OFF, STEP_END, STEP_START, EventFacts, StepFacts
from printing.runs.finishing_ranges import departures
from printing.runs.models import RunStep
from printing.stock.models import TankFill


def finish_steps(formulation_id: int) -> tuple[FinishStep, ...]:
    """Return the rows of a formulation's finishing steps in order."""
    return tuple(FinishStep.objects.filter(formulation_id=formulation_id).order_by("number"))


def conditions_of(step: FinishStep) -> Mapping[str, Any]:
    """Return the conditions that a finishing step bounds."""
    found: Mapping[str, Any] = json.loads(step.conditions_text, parse_float=Decimal)
    return found


def last_step(batch_id: int, *kinds: str, name: str = "") -> RunStep | None:
    """Return the last step of a batch of one of `kinds` (and of a name), None when there is none."""
    rows = RunStep.objects.filter(batch_id=batch_id, kind__in=kinds)
    return (rows.filter(name=name) if name else rows).select_related("by", "tank_fill").last()


def is_broken_off(zone_id: int) -> bool:
    """Say whether the units of a zone were broken off its raft."""
    return RunStep.objects.filter(zone_id=zone_id, kind=BREAK_OFF).exists()


def step_facts(batch_id: int, formulation_id: int) -> tuple[StepFacts, ...]:
    """Return every finishing step of a batch with its range and what was done so far."""
    rows = RunStep.objects.filter(batch_id=batch_id, finish_step__isnull=False)
    done = {(row.finish_step_id, row.kind): row for row in rows.select_related("by", "equipment")}
    return tuple(
        _step(one, done.get((one.pk, STEP_START)), done.get((one.pk, STEP_END))) for one in finish_steps(formulation_id)
    )


def events(batch_id: int) -> tuple[EventFacts, ...]:
    """Return the whole record of a batch in the order in which it was kept."""
    rows = RunStep.objects.filter(batch_id=batch_id).select_related("by", "zone").order_by("pk")
    return tuple(
        EventFacts(
            kind=row.kind,
            name=row.name,
            zone=row.zone.code if row.zone else "",
            by=row.by.printed_name,
            at=row.at,
            facts=json.loads(row.text),
        )
        for row in rows
    )


def tank_fill_id(code: str) -> int:
    """Return the row of a tank fill that a step was done with."""
    return TankFill.objects.values_list("pk", flat=True).get(code=code)


def _step(step: FinishStep, start: RunStep | None, end: RunStep | None) -> StepFacts:
    conditions = conditions_of(step)
    readings = {name: str(value) for name, value in json.loads(end.text)["readings"].items()} if end else {}
    seconds = _seconds(start.at, end.at) if start and end else None
    return StepFacts(
        number=step.number,
        kind=step.kind,
        least_s=step.least_s,
        most_s=step.most_s,
        conditions={name: str(value) for name, value in conditions.items()},
        started_at=start.at if start else None,
        started_by=start.by.printed_name if start else "",
        ended_at=end.at if end else None,
        ended_by=end.by.printed_name if end else "",
        equipment=start.equipment.code if start and start.equipment else "",
        seconds=seconds,
        readings=readings,
        in_range=None if seconds is None else not _departures(step, conditions, seconds, readings),
    )


def _departures(step: FinishStep, conditions: Mapping[str, Any], seconds: int, readings: Mapping[str, str]) -> bool:
    found = departures(
        kind=step.kind,
        seconds=seconds,
        least_s=step.least_s,
        most_s=step.most_s,
        conditions=conditions,
        readings={name: Decimal(value) for name, value in readings.items()},
    )
    return bool(found)


def _seconds(start: datetime, end: datetime) -> int:
    return int((end - start).total_seconds())
