"""Steps and dose lines as the record of an order holds them, in figures and in words, and when each is due."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, time
from typing import Any, Final
from zoneinfo import ZoneInfo

from dosewright.ground.pure.notation import format_mass
from prescriptions.dosing import OrderedDose
from prescriptions.intake.regimen_json import step_as_json
from prescriptions.intake.timing_json import schedule_as_json
from prescriptions.regimens import Line, Step
from prescriptions.timing import AsNeeded

OPENING: Final = time(8, 0)
"""When a pack is expected where the order does not say: opening time on the first day, or the first dose
where that is earlier; judgement, no source."""


def default_ready_by(lines: Sequence[Line], zone: ZoneInfo) -> datetime:
    """Return when the pack must be ready where nobody said: see `OPENING`; UTC."""
    first = min(lines, key=lambda line: (line.start_date, line.times or (OPENING,)))
    moment = datetime.combine(first.start_date, min((OPENING, *first.times)), tzinfo=zone)
    return moment.astimezone(UTC)


def step_words(step: Step, dose: OrderedDose) -> str:
    """Return one step as people read it: "3 mg at 07:00 every day, 2026-03-10 to 2026-04-06 (28 doses)"."""
    count = len(step.dates()) * len(step.schedule.moments)
    mass = format_mass(dose.ordered_mg, "micrograms")
    doses = "1 dose" if count == 1 else f"{count} doses"
    most = "up to " if isinstance(step.timing, AsNeeded) else ""
    return f"{mass} {step.schedule.words}, {step.start_date} to {step.stop_date} ({most}{doses})"


def supplies_ready_by(lines: Sequence[Line], ready_by: datetime | None, zone: ZoneInfo) -> tuple[datetime, ...]:
    """Return when each supply must be ready: the first when it was said, the later ones for their first dose."""
    numbers = sorted({line.supply for line in lines})
    usual = [default_ready_by([line for line in lines if line.supply == number], zone) for number in numbers]
    return (ready_by or usual[0], *usual[1:])


def step_record(step: Step, dose: OrderedDose) -> dict[str, Any]:
    """Return one step with its dose as calculated, as ordered and in words."""
    return step_as_json(step) | {
        "calculated_mg": dose.calculated_mg,
        "ordered_mg": dose.ordered_mg,
        "rounding": dose.text,
        "in_words": step_words(step, dose),
    }


def line_record(number: int, line: Line) -> dict[str, Any]:
    """Return one dose line: how much, when, how often, in which supply."""
    return {
        "number": number,
        "dose_mg": line.dose_mg,
        **schedule_as_json(line.schedule),
        "taken": line.schedule.words,
        "supply": line.supply,
        "starts_on": line.start_date,
        "ends_on": line.stop_date,
        "administrations": line.count,
    }
