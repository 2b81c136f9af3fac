"""A regimen: its steps, which of them are taken today, and the dose lines that are made from it.

The structures carry every regimen that orders can hold (clock times, meal slots, as needed, every n days,
weekdays, tapers, doses per kg and per m2); `unsupported` names what this version does not yet make, so
that nothing is taken for a daily dose by default. Unequal doses of a day are never averaged.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, time, timedelta
from decimal import Decimal
from enum import StrEnum
from typing import Final

from dosewright.ground.pure.errors import BadInput, Refusal, refuse_if_any
from dosewright.ground.pure.quantities import DoseAmount
from prescriptions.dosing import BodySize, OrderedDose, RoundingRule, order_dose

MAX_DAYS: Final = 366
MAX_STEPS: Final = 60
MAX_TIMES: Final = 12
"""Longest step [days], most steps, most clock times a day: judgement, no source; larger is a slip."""


class MealSlot(StrEnum):
    """A time of day that the site's ward rounds or the patient's meals set."""

    BEFORE_BREAKFAST = "before breakfast"
    WITH_BREAKFAST = "with breakfast"
    WITH_LUNCH = "with lunch"
    WITH_SUPPER = "with supper"
    AT_BEDTIME = "at bedtime"


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockTimes:
    """Local clock times of a day, in order, none twice."""

    times: tuple[time, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MealSlots:
    """Meal slots of a day, in order, none twice."""

    slots: tuple[MealSlot, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class AsNeeded:
    """At need: ``least_interval_h`` [h, > 0] between doses, ``most_per_day`` [doses, >= 1]."""

    least_interval_h: Decimal
    most_per_day: int


Timing = ClockTimes | MealSlots | AsNeeded


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One dose and its timing from ``start_date`` on for ``days`` [days, 1 to 366], both ends included.

    ``every_n_days`` [days, >= 1] counts from the start; ``weekdays`` [1 Monday to 7 Sunday, ISO 8601]
    empty means every day; ``cap_mg`` [mg] is the most one calculated dose may be.
    """

    dose: DoseAmount
    timing: Timing
    start_date: date
    days: int
    every_n_days: int = 1
    weekdays: tuple[int, ...] = ()
    cap_mg: Decimal | None = None

    @property
    def stop_date(self) -> date:
        """The last day of the step, included."""
        return self.start_date + timedelta(days=self.days - 1)

    def dates(self) -> tuple[date, ...]:
        """The days on which a dose falls, in order."""
        every = (self.start_date + timedelta(days=n) for n in range(0, self.days, self.every_n_days))
        return tuple(day for day in every if not self.weekdays or day.isoweekday() in self.weekdays)


@dataclass(frozen=True, slots=True, kw_only=True)
class Regimen:
    """The steps of an order, in the order they were written."""

    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One dose line: one dose, its clock times and its days, for one container.

    ``count`` [administrations] is counted from the calendar; ``steps`` are the places (from 0) in the
    regimen of the steps it came from.
    """

    dose: OrderedDose
    times: tuple[time, ...]
    dates: tuple[date, ...]
    steps: tuple[int, ...]

    @property
    def dose_mg(self) -> Decimal:
        """The ordered dose of one administration [mg]."""
        return self.dose.ordered_mg

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
        return len(self.dates) * len(self.times)


def unsupported(step: Step, *, field: str) -> list[Refusal]:
    """Return a refusal by name for each kind of timing of ``step`` that is not yet made."""
    accepted = "a daily dose at clock times, such as 07:00"
    found: list[Refusal] = []

    def refuse(part: str, what: str, value: str) -> None:
        message = f"{what} are not taken yet"
        found.append(Refusal(field=f"{field}.{part}", message=message, value=value, accepted=accepted, rule="timing"))

    if isinstance(step.timing, MealSlots):
        refuse("slots", "meal slots", ", ".join(step.timing.slots))
    if isinstance(step.timing, AsNeeded):
        refuse("as_needed", "doses as needed", f"most {step.timing.most_per_day} a day")
    if step.every_n_days != 1:
        refuse("every_n_days", "doses every n days", str(step.every_n_days))
    if step.weekdays:
        refuse("weekdays", "doses on weekdays", ", ".join(map(str, step.weekdays)))
    return found


def check_regimen(regimen: Regimen, *, field: str = "regimen") -> list[Refusal]:
    """Return every reason why no dose lines can be made of ``regimen``: empty when all is well."""
    found: list[Refusal] = []
    if not 1 <= len(regimen.steps) <= MAX_STEPS:
        count = str(len(regimen.steps))
        message = f"a regimen has 1 to {MAX_STEPS} steps"
        found.append(Refusal(field=f"{field}.steps", message=message, value=count, limit=str(MAX_STEPS)))
    for index, step in enumerate(regimen.steps):
        place = f"{field}.steps[{index}]"
        found.extend(_check_step(step, field=place))
        found.extend(unsupported(step, field=place))
    return found or _check_overlap(regimen, field=field)


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


def dose_lines(
    regimen: Regimen,
    *,
    body: BodySize | None = None,
    rule: RoundingRule | None = None,
    field: str = "regimen",
) -> tuple[Line, ...]:
    """Return one line per distinct dose and run of days, with all its clock times, by start, time and dose.

    Steps of equal dose on the same days share a line and so a container ("one dose and its clock times");
    any other difference makes another line. Raises BadInput as `check_regimen` and `ordered_doses` find.
    """
    refuse_if_any(BadInput, check_regimen(regimen, field=field))
    doses = ordered_doses(regimen, body=body, rule=rule, field=field)
    groups: dict[tuple[OrderedDose, tuple[date, ...]], list[int]] = defaultdict(list)
    for index, step in enumerate(regimen.steps):
        groups[doses[index], step.dates()].append(index)
    lines = [
        Line(dose=dose, times=_times(regimen, indices), dates=dates, steps=tuple(indices))
        for (dose, dates), indices in groups.items()
    ]
    return tuple(sorted(lines, key=lambda line: (line.start_date, line.times, line.dose_mg)))


def clock_times(step: Step) -> tuple[time, ...]:
    """Return the clock times of ``step``; raises BadInput for any other timing."""
    if isinstance(step.timing, ClockTimes):
        return step.timing.times
    raise BadInput(*unsupported(step, field="step"))


def _times(regimen: Regimen, indices: Sequence[int]) -> tuple[time, ...]:
    return tuple(sorted(one for index in indices for one in clock_times(regimen.steps[index])))


def _check_step(step: Step, *, field: str) -> list[Refusal]:
    found: list[Refusal] = []
    if not 1 <= step.days <= MAX_DAYS:
        limit = f"1 to {MAX_DAYS}"
        message = "the number of days is out of range"
        found.append(
            Refusal(
                field=f"{field}.days",
                message=message,
                value=str(step.days),
                limit=limit,
                unit="day",
                accepted=limit,
            )
        )
    elif not step.dates():
        found.append(Refusal(field=field, message="no day of the step is one of its weekdays", rule="no-day"))
    if isinstance(step.timing, ClockTimes):
        times = step.timing.times
        if not 1 <= len(times) <= MAX_TIMES or len(set(times)) != len(times):
            value = ", ".join(one.strftime("%H:%M") for one in times)
            accepted = f"1 to {MAX_TIMES} clock times, none twice"
            message = "the clock times are missing, too many or not all different"
            found.append(Refusal(field=f"{field}.times", message=message, value=value, accepted=accepted))
    return found


def _check_overlap(regimen: Regimen, *, field: str) -> list[Refusal]:
    """Two steps at one moment may be a sum, a slip or a forgotten stop: only the prescriber knows."""
    first: dict[tuple[date, time], int] = {}
    found: dict[tuple[int, int], Refusal] = {}
    for index, step in enumerate(regimen.steps):
        for moment in ((day, at) for day in step.dates() for at in clock_times(step)):
            earlier = first.setdefault(moment, index)
            if earlier != index and (earlier, index) not in found:
                found[earlier, index] = _overlap(earlier, index, moment, field=field)
    return list(found.values())


def _overlap(earlier: int, index: int, moment: tuple[date, time], *, field: str) -> Refusal:
    day, at = moment
    return Refusal(
        field=f"{field}.steps[{index}]",
        message=f"steps {earlier + 1} and {index + 1} both give a dose at the same time",
        value=f"{day.isoformat()} {at.strftime('%H:%M')}",
        accepted="one step for each moment: write the whole dose, or mend the dates",
        rule="overlap",
    )
