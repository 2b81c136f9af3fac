"""When doses are taken: clock times, meal slots or at need, and on which days.

Nothing here says what a dose is. A meal slot has no clock time of its own: the window of each only tells
whether a clock time could mean the same moment.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time, timedelta
from decimal import Decimal
from enum import StrEnum
from itertools import pairwise
from typing import Final

from dosewright.ground.pure.notation import format_number

WEEKDAYS: Final = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
"""Names of the weekdays in the order of ISO 8601, whose Monday is 1."""
DAYS_A_WEEK: Final = 7


class MealSlot(StrEnum):
    """A time of day that the site's ward rounds or the patient's meals set."""

    BEFORE_BREAKFAST = "before breakfast"
    WITH_BREAKFAST = "with breakfast"
    WITH_LUNCH = "with lunch"
    WITH_SUPPER = "with supper"
    AT_BEDTIME = "at bedtime"


SLOT_WINDOWS: Final = {
    MealSlot.BEFORE_BREAKFAST: (time(4), time(11)),
    MealSlot.WITH_BREAKFAST: (time(4), time(11)),
    MealSlot.WITH_LUNCH: (time(11), time(15)),
    MealSlot.WITH_SUPPER: (time(16), time(21)),
    MealSlot.AT_BEDTIME: (time(20), time(23, 59)),
}
"""First and last clock time that a slot may mean: judgement, no source."""


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
    """At need: ``least_interval_h`` [h, > 0 to 24] between doses, ``most_per_day`` [doses, 1 to 12] in 24 hours.

    ``reason`` says what for; empty stands for the order's indication.
    """

    least_interval_h: Decimal
    most_per_day: int
    reason: str = ""


Timing = ClockTimes | MealSlots | AsNeeded
Moment = time | MealSlot | int
"""When in a day one dose falls; a number counts the doses as needed of the day from 1."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """A timing and its days: every day, every n days [>= 1] from the first, or on weekdays [1 to 7, ISO 8601]."""

    timing: Timing
    every_n_days: int = 1
    weekdays: tuple[int, ...] = ()

    @property
    def moments(self) -> tuple[Moment, ...]:
        """The doses of one day on which it is taken; as needed as many as there may be."""
        return moments_of(self.timing)

    @property
    def words(self) -> str:
        """What people who work with orders read: "at 07:00 and 13:00 every day"."""
        if isinstance(self.timing, AsNeeded):
            return timing_words(self.timing)
        return f"{timing_words(self.timing)} {days_words(self.every_n_days, self.weekdays)}"

    def dates(self, first: date, last: date) -> tuple[date, ...]:
        """Return the days on which doses fall from ``first`` to ``last``, both included, counted from ``first``."""
        return dates_of(first, last, every_n_days=self.every_n_days, weekdays=self.weekdays)


def dates_of(first: date, last: date, *, every_n_days: int = 1, weekdays: tuple[int, ...] = ()) -> tuple[date, ...]:
    """Return every n-th day [>= 1] from ``first`` to ``last``, both included, that is one of ``weekdays`` (ISO 8601).

    No weekdays means any. Source: the proleptic Gregorian calendar of ISO 8601.
    """
    days = (last - first).days + 1
    every = (first + timedelta(days=n) for n in range(0, days, every_n_days))
    return tuple(day for day in every if not weekdays or day.isoweekday() in weekdays)


def simplest(dates: tuple[date, ...], every_n_days: int, weekdays: tuple[int, ...]) -> tuple[int, tuple[int, ...]]:
    """Return the plainest way to say on which days: every n days and weekdays that give the same ``dates``."""
    if all((later - earlier).days == 1 for earlier, later in pairwise(dates)):
        return 1, ()
    if every_n_days == DAYS_A_WEEK:
        return 1, (dates[0].isoweekday(),)
    return every_n_days, tuple(sorted(weekdays))


def moments_of(timing: Timing) -> tuple[Moment, ...]:
    """Return the doses of one day, in order; as needed as many as there may be."""
    if isinstance(timing, ClockTimes):
        return timing.times
    if isinstance(timing, MealSlots):
        return timing.slots
    return tuple(range(1, timing.most_per_day + 1))


def moment_place(moment: Moment) -> tuple[int, int]:
    """Return what moments of one day are sorted by; doses as needed come last, for nobody knows their time."""
    if isinstance(moment, time):
        return moment.hour * 60 + moment.minute, 0
    if isinstance(moment, MealSlot):
        start = SLOT_WINDOWS[moment][0]
        return start.hour * 60 + start.minute, list(MealSlot).index(moment) + 1
    return 24 * 60, moment


def moment_text(moment: Moment) -> str:
    """Return a moment as people read it: "07:00", "with lunch", "when needed"."""
    if isinstance(moment, time):
        return moment.strftime("%H:%M")
    return moment.value if isinstance(moment, MealSlot) else "when needed"


def may_be_one(one: Moment, other: Moment) -> bool:
    """Say whether two moments of a day are, or could be meant as, the same."""
    if isinstance(one, int) or isinstance(other, int):
        return True
    if isinstance(one, time) and isinstance(other, MealSlot):
        one, other = other, one
    if isinstance(one, MealSlot) and isinstance(other, time):
        first, last = SLOT_WINDOWS[one]
        return first <= other <= last
    return one == other


def joined_timing(timings: list[Timing]) -> Timing:
    """Return several timings of one kind as one, in the order of the day; raises ValueError for other kinds."""
    if all(isinstance(one, ClockTimes) for one in timings):
        return ClockTimes(times=tuple(sorted(at for one in timings if isinstance(one, ClockTimes) for at in one.times)))
    if all(isinstance(one, MealSlots) for one in timings):
        slots = [slot for one in timings if isinstance(one, MealSlots) for slot in one.slots]
        return MealSlots(slots=tuple(sorted(slots, key=moment_place)))
    if len(timings) == 1:
        return timings[0]
    raise ValueError("only clock times join clock times, and slots slots")


def timing_words(timing: Timing) -> str:
    """Return a timing for people who work with orders: "at 07:00 and 13:00", "with lunch"."""
    if isinstance(timing, AsNeeded):
        reason = f" for {timing.reason}" if timing.reason else ""
        hours = format_number(timing.least_interval_h)
        return f"when needed{reason}, at least {hours} h apart and at most {timing.most_per_day} in 24 hours"
    texts = " and ".join(moment_text(one) for one in moments_of(timing))
    return f"at {texts}" if isinstance(timing, ClockTimes) else texts


def days_words(every_n_days: int, weekdays: tuple[int, ...]) -> str:
    """Return the days for people who work with orders: "every day", "every 2 days", "on Mondays and Thursdays"."""
    if weekdays:
        return "on " + " and ".join(f"{WEEKDAYS[day - 1].capitalize()}s" for day in sorted(weekdays))
    return "every day" if every_n_days == 1 else f"every {every_n_days} days"
