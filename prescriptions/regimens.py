"""A regimen: its steps, and the dose lines that are made from it.

The steps carry every regimen that orders can hold (clock times, meal slots, as needed, every n days,
weekdays, tapers, doses per kg and per m2). Unequal doses of a day are never averaged, and doses are counted
on the calendar, never multiplied out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, time
from decimal import Decimal
from typing import Final

from dosewright.ground.pure.errors import BadInput, Refusal, refuse_if_any
from prescriptions.dosing import BodySize, OrderedDose, RoundingRule, order_dose
from prescriptions.regimen_checks import MAX_DAYS, MAX_STEPS, MAX_TIMES, check_reasons, check_room, check_weekly
from prescriptions.regimen_checks import check_steps as check_regimen
from prescriptions.steps import Regimen, Step
from prescriptions.timing import (
    AsNeeded,
    ClockTimes,
    MealSlot,
    MealSlots,
    Schedule,
    Timing,
    joined_timing,
    moment_place,
    simplest,
)

MAX_LINES: Final = 120
"""Most dose lines of one order: judgement, no source; more is a slip in the steps or the days of a supply."""

__all__ = [
    "MAX_DAYS",
    "MAX_LINES",
    "MAX_STEPS",
    "MAX_TIMES",
    "AsNeeded",
    "ClockTimes",
    "Line",
    "MealSlot",
    "MealSlots",
    "Regimen",
    "Schedule",
    "Step",
    "Timing",
    "check_reasons",
    "check_regimen",
    "check_supply_days",
    "check_weekly",
    "dose_lines",
    "ordered_doses",
    "with_reasons",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One dose line: one dose, its times and its days, for one container.

    ``count`` [administrations] is counted from the calendar, at need the most there may be; ``steps`` are the
    places (from 0) in the regimen of the steps it came from; ``supply`` of ``supplies`` [>= 1] says in which
    instalment it is handed over.
    """

    dose: OrderedDose
    schedule: Schedule
    dates: tuple[date, ...]
    steps: tuple[int, ...]
    supply: int = 1
    supplies: int = 1

    @property
    def dose_mg(self) -> Decimal:
        """The ordered dose of one administration [mg]."""
        return self.dose.ordered_mg

    @property
    def times(self) -> tuple[time, ...]:
        """Its clock times; none for any other timing."""
        return self.schedule.timing.times if isinstance(self.schedule.timing, ClockTimes) else ()

    @property
    def start_date(self) -> date:
        """The first day of the line."""
        return self.dates[0]

    @property
    def stop_date(self) -> date:
        """The last day of the line, included."""
        return self.dates[-1]

    @property
    def count(self) -> int:
        """Number of administrations."""
        return len(self.dates) * len(self.schedule.moments)


def ordered_doses(
    regimen: Regimen,
    *,
    body: BodySize | None = None,
    rule: RoundingRule | None = None,
    field: str = "regimen",
) -> tuple[OrderedDose, ...]:
    """Return the ordered dose of each step, in the order of the steps; raises BadInput with all reasons."""
    doses: list[OrderedDose] = []
    refusals: list[Refusal] = []
    for index, step in enumerate(regimen.steps):
        place = f"{field}.steps[{index}].dose"
        try:
            doses.append(order_dose(step.dose, field=place, body=body, rule=rule, cap_mg=step.cap_mg))
        except BadInput as error:
            refusals.extend(error.refusals)
    refuse_if_any(BadInput, refusals)
    return tuple(doses)


def with_reasons(regimen: Regimen, indication: str | None, *, field: str = "regimen") -> Regimen:
    """Return ``regimen`` with the order's ``indication`` as the reason of each step as needed that says none.

    Raises BadInput where there is neither.
    """
    refuse_if_any(BadInput, check_reasons(regimen, indication, field=field))
    return Regimen(steps=tuple(_with_reason(step, indication or "") for step in regimen.steps))


def _with_reason(step: Step, indication: str) -> Step:
    timing = step.timing
    if not isinstance(timing, AsNeeded) or timing.reason.strip():
        return step
    return replace(step, timing=replace(timing, reason=indication.strip()))


def dose_lines(
    regimen: Regimen,
    *,
    body: BodySize | None = None,
    rule: RoundingRule | None = None,
    supply_days: int | None = None,
    field: str = "regimen",
) -> tuple[Line, ...]:
    """Return one line per distinct dose, timing, run of days and supply, by start, time of day and dose.

    Steps of equal dose on the same days share a line and so a container ("one dose and its times"); any other
    difference makes another line. With ``supply_days`` [days, 1 to 366] the course is handed over in supplies
    of so many days, counted from its first day, each in containers of its own. Raises BadInput as
    `check_regimen` and `ordered_doses` find, and for more lines than `MAX_LINES`.
    """
    refuse_if_any(BadInput, [*check_regimen(regimen, field=field), *check_supply_days(supply_days)])
    doses = ordered_doses(regimen, body=body, rule=rule, field=field)
    lines = _whole_lines(regimen, doses)
    refuse_if_any(BadInput, [one for line in lines for one in _check_room(line, field=field)])
    if supply_days is not None:
        lines = _in_supplies(lines, supply_days)
    if len(lines) > MAX_LINES:
        raise BadInput.because(
            "supply_days" if supply_days is not None else f"{field}.steps",
            "the order falls into too many containers",
            value=str(len(lines)),
            limit=str(MAX_LINES),
            unit="dose line",
            accepted="longer supplies, or fewer steps",
            rule="too-many-lines",
        )
    return tuple(sorted(lines, key=_place))


def _place(line: Line) -> tuple[date, list[tuple[int, int]], Decimal]:
    return line.start_date, [moment_place(one) for one in line.schedule.moments], line.dose_mg


def _whole_lines(regimen: Regimen, doses: Sequence[OrderedDose]) -> list[Line]:
    groups: dict[tuple[object, ...], list[int]] = defaultdict(list)
    for index, step in enumerate(regimen.steps):
        # what is taken at need never shares a container with what is not
        plain = step.simplest()
        groups[doses[index], type(step.timing), step.dates(), plain.every_n_days, plain.weekdays].append(index)
    return [
        _line([regimen.steps[index] for index in indices], doses[indices[0]], tuple(indices))
        for indices in groups.values()
    ]


def _line(steps: Sequence[Step], dose: OrderedDose, places: tuple[int, ...]) -> Line:
    schedule = replace(steps[0].simplest(), timing=joined_timing([step.timing for step in steps]))
    return Line(dose=dose, schedule=schedule, dates=steps[0].dates(), steps=places)


def _check_room(line: Line, *, field: str) -> list[Refusal]:
    """Steps that share a container share its label: together they may say too much."""
    return check_room(line.schedule, field=f"{field}.steps[{line.steps[-1]}]")


def _in_supplies(lines: Iterable[Line], supply_days: int) -> list[Line]:
    """Cut each line where a supply ends; a stretch of the course without any dose is no supply."""
    whole = list(lines)
    first = min(line.start_date for line in whole)
    stretches = sorted({(day - first).days // supply_days for line in whole for day in line.dates})
    cut: list[Line] = []
    for number, stretch in enumerate(stretches, start=1):
        for line in whole:
            dates = tuple(day for day in line.dates if (day - first).days // supply_days == stretch)
            if dates:
                cut.append(_part(line, dates, number, len(stretches)))
    return cut


def _part(line: Line, dates: tuple[date, ...], number: int, of: int) -> Line:
    every_n_days, weekdays = simplest(dates, line.schedule.every_n_days, line.schedule.weekdays)
    schedule = replace(line.schedule, every_n_days=every_n_days, weekdays=weekdays)
    return replace(line, schedule=schedule, dates=dates, supply=number, supplies=of)


def check_supply_days(supply_days: int | None) -> list[Refusal]:
    """Return a refusal for days of one supply [days] that are out of range; None is a course in one supply."""
    if supply_days is None or 1 <= supply_days <= MAX_DAYS:
        return []
    limit = f"1 to {MAX_DAYS}"
    message = "the days of one supply are out of range"
    return [
        Refusal(field="supply_days", message=message, value=str(supply_days), limit=limit, unit="day", accepted=limit)
    ]
