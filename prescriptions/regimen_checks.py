"""What a regimen may not be: each check returns its refusals, empty when all is well."""

from __future__ import annotations

import math
from datetime import date
from decimal import Decimal
from itertools import combinations, pairwise
from typing import Final

from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.errors import Refusal
from prescriptions.steps import Regimen, Step
from prescriptions.timing import (
    DAYS_A_WEEK,
    WEEKDAYS,
    AsNeeded,
    ClockTimes,
    Moment,
    Schedule,
    Timing,
    days_words,
    may_be_one,
    moment_text,
    moments_of,
)

MAX_DAYS: Final = 366
MAX_STEPS: Final = 60
MAX_AS_NEEDED: Final = 12
MAX_EVERY_DAYS: Final = 90
MAX_INTERVAL_H: Final = 24
"""Longest step [days], most steps, most doses as needed a day, widest spacing [days] and longest least interval
[h]: judgement, no source; larger is a slip."""
MAX_TIMES: Final = 6
MAX_TIMES_ON_SOME_DAYS: Final = 4
FEW_WEEKDAYS: Final = 3
"""Most times of a day of one dose, and where more than a few weekdays or every n days are said too: what a label
has room for, found by setting it."""
MAX_REASON: Final = 60
"""Longest reason of a dose as needed [characters]: what a label has room for."""
QUARTER_H: Final = Decimal("0.25")
"""Finest interval that people can keep and a label can say [h]: judgement, no source."""


def check_steps(regimen: Regimen, *, field: str = "regimen") -> list[Refusal]:
    """Return every reason why no dose lines can be made of ``regimen``: empty when all is well."""
    found: list[Refusal] = []
    if not 1 <= len(regimen.steps) <= MAX_STEPS:
        count = str(len(regimen.steps))
        message = f"a regimen has 1 to {MAX_STEPS} steps"
        accepted = f"1 to {MAX_STEPS}"
        limit = str(MAX_STEPS)
        found.append(Refusal(field=f"{field}.steps", message=message, value=count, limit=limit, accepted=accepted))
    for index, step in enumerate(regimen.steps):
        found.extend(_check_step(step, field=f"{field}.steps[{index}]"))
    return found or _check_overlap(regimen, field=field)


def check_reasons(regimen: Regimen, indication: str | None, *, field: str = "regimen") -> list[Refusal]:
    """Return a refusal for each step as needed whose reason, or else the order's ``indication``, no label can say."""
    return [
        Refusal(
            field=f"{field}.steps[{index}].as_needed.reason",
            message="a dose as needed says what for, so that the patient knows when",
            value=said or None,
            limit=str(MAX_REASON),
            unit="character",
            accepted=f"a reason of 1 to {MAX_REASON} characters such as pain, or such an indication of the order",
            rule="as-needed",
        )
        for index, step in enumerate(regimen.steps)
        if isinstance(step.timing, AsNeeded)
        and not 1 <= len(said := step.timing.reason.strip() or (indication or "").strip()) <= MAX_REASON
    ]


def check_weekly(regimen: Regimen, *, field: str = "regimen") -> list[Refusal]:
    """Return a refusal for each step that gives a once-a-week substance at need, or nearer than seven days.

    Daily for weekly is deadly: ISMP targeted best practices, methotrexate (from memory, to be confirmed).
    """
    found = {
        index: _weekly(f"{field}.steps[{index}]", "as needed")
        for index, step in enumerate(regimen.steps)
        if isinstance(step.timing, AsNeeded)
    }
    taken = sorted(
        (day, index)
        for index, step in enumerate(regimen.steps)
        for day in step.dates()
        for _ in moments_of(step.timing)
    )
    for (earlier, _), (later, index) in pairwise(taken):
        gap = (later - earlier).days
        if gap < DAYS_A_WEEK:
            found.setdefault(index, _weekly(f"{field}.steps[{index}]", str(gap)))
    return [found[index] for index in sorted(found)]


def _weekly(place: str, value: str) -> Refusal:
    return Refusal(
        field=place,
        message="this substance is for one dose a week only: daily for weekly is deadly",
        value=value,
        limit=str(DAYS_A_WEEK),
        unit="day",
        accepted='one dose on one weekday, such as "weekdays": ["monday"]',
        rule="weekly-only",
    )


def _check_step(step: Step, *, field: str) -> list[Refusal]:
    found = [*_check_days(step, field=field), *_check_pattern(step, field=field)]
    if not found and not step.dates():
        message = "no day of the step is one of its weekdays"
        accepted = "a weekday that lies between first and last day"
        found.append(Refusal(field=field, message=message, accepted=accepted, rule="no-day"))
    if isinstance(step.timing, AsNeeded):
        return [*found, *_check_as_needed(step, step.timing, field=field)]
    room = [] if found else check_room(step.simplest(), field=field)
    return [*found, *(_check_moments(step.timing, field=field) or room)]


def _check_days(step: Step, *, field: str) -> list[Refusal]:
    found = []
    for name, value, most in (("days", step.days, MAX_DAYS), ("every_n_days", step.every_n_days, MAX_EVERY_DAYS)):
        if not 1 <= value <= most:
            found.append(_range(f"{field}.{name}", "the number of days is out of range", str(value), f"1 to {most}"))
    return found


def _range(place: str, message: str, value: str, limit: str, unit: str = "day") -> Refusal:
    return Refusal(field=place, message=message, value=value, limit=limit, unit=unit, accepted=limit)


def _check_pattern(step: Step, *, field: str) -> list[Refusal]:
    days = step.weekdays
    value = ", ".join(WEEKDAYS[day - 1] if 1 <= day <= DAYS_A_WEEK else str(day) for day in days)
    if len(set(days)) != len(days) or not set(days) <= set(range(1, DAYS_A_WEEK + 1)):
        message, accepted = "the weekdays are unknown or not all different", "weekdays, none twice"
        return [Refusal(field=f"{field}.weekdays", message=message, value=value, accepted=accepted, rule="timing")]
    if days and step.every_n_days != 1:
        message = "weekdays and every n days cannot both be kept"
        accepted = "weekdays, or every n days"
        return [Refusal(field=f"{field}.weekdays", message=message, value=value, accepted=accepted, rule="timing")]
    return []


def _check_as_needed(step: Step, timing: AsNeeded, *, field: str) -> list[Refusal]:
    place, hours, most = f"{field}.as_needed", timing.least_interval_h, timing.most_per_day
    found = []
    if step.weekdays or step.every_n_days != 1:
        message = "a dose as needed has no days of its own"
        accepted = "as needed from the first to the last day, without weekdays or every n days"
        found.append(Refusal(field=place, message=message, accepted=accepted, rule="timing"))
    if not (hours.is_finite() and 0 < hours <= MAX_INTERVAL_H and hours % QUARTER_H == 0):
        message = "the least interval is out of range or finer than a quarter of an hour"
        limit = f"{QUARTER_H} to {MAX_INTERVAL_H}"
        found.append(_range(f"{place}.least_interval", message, str(hours), limit, "h"))
    elif 1 <= most <= MAX_AS_NEEDED and (most - 1) * hours >= 24:
        found.append(_out_of_reach(f"{place}.most_per_day", timing))
    if not 1 <= most <= MAX_AS_NEEDED:
        message = "the most in 24 hours is out of range"
        found.append(_range(f"{place}.most_per_day", message, str(most), f"1 to {MAX_AS_NEEDED}", "dose"))
    return found


def _out_of_reach(place: str, timing: AsNeeded) -> Refusal:
    hours = decimal_text(timing.least_interval_h)
    reachable = math.ceil(24 / timing.least_interval_h)
    return Refusal(
        field=place,
        message=f"so many doses do not fit in 24 hours when {hours} h lie between them: one of the two is a slip",
        value=str(timing.most_per_day),
        limit=str(reachable),
        unit="dose",
        accepted=f"up to {reachable} doses, or a shorter interval",
        rule="as-needed",
    )


def _check_moments(timing: Timing, *, field: str) -> list[Refusal]:
    moments = moments_of(timing)
    if moments and len(set(moments)) == len(moments):
        return []
    name, what = _named(timing)
    return [
        Refusal(
            field=f"{field}.{name}",
            message=f"the {what} are missing or not all different",
            value=", ".join(moment_text(one) for one in moments),
            accepted=f"1 to {MAX_TIMES} {what}, none twice",
        )
    ]


def _named(timing: Timing) -> tuple[str, str]:
    return ("times", "clock times") if isinstance(timing, ClockTimes) else ("slots", "meal slots")


def check_room(schedule: Schedule, *, field: str) -> list[Refusal]:
    """Return a refusal where one dose has more times of a day, beside its days, than a label can say."""
    if isinstance(schedule.timing, AsNeeded):
        return []
    times = len(schedule.moments)
    is_short = schedule.every_n_days == 1 and len(schedule.weekdays) <= FEW_WEEKDAYS
    limit = MAX_TIMES if is_short else MAX_TIMES_ON_SOME_DAYS
    if times <= limit:
        return []
    name, what = _named(schedule.timing)
    on_days = "" if is_short else f" {days_words(schedule.every_n_days, schedule.weekdays)}"
    return [
        Refusal(
            field=f"{field}.{name}",
            message=f"one dose has more {what}{on_days} than a label has room for",
            value=str(times),
            limit=str(limit),
            unit="time",
            accepted=f"up to {limit} {what} of one dose{on_days}",
            rule="too-many-times",
        )
    ]


def _check_overlap(regimen: Regimen, *, field: str) -> list[Refusal]:
    """Two steps at one moment may be a sum, a slip or a forgotten stop: only the prescriber knows."""
    found = []
    days = [frozenset(step.dates()) for step in regimen.steps]
    for earlier, later in combinations(range(len(regimen.steps)), 2):
        shared = days[earlier] & days[later]
        met = _met(regimen.steps[earlier].timing, regimen.steps[later].timing) if shared else None
        if met is not None:
            found.append(_overlap(earlier, later, min(shared), met, field=field))
    return found


def _met(one: Timing, other: Timing) -> tuple[Moment, Moment] | None:
    """Return two moments that could be the same one, none where no two could."""
    pairs = ((first, second) for first in moments_of(one) for second in moments_of(other))
    return next(((first, second) for first, second in pairs if may_be_one(first, second)), None)


def _overlap(earlier: int, later: int, day: date, met: tuple[Moment, Moment], *, field: str) -> Refusal:
    at = " and ".join(dict.fromkeys(moment_text(one) for one in met))
    both = f"steps {earlier + 1} and {later + 1}"
    if any(isinstance(one, int) for one in met):
        message = f"{both} give doses as needed beside other doses: the label could not say how they go together"
        accepted = "doses as needed in an order of their own"
    else:
        message = f"{both} both give a dose at the same time" if met[0] == met[1] else f"{both} may mean the same time"
        accepted = "one step for each moment: write the whole dose, or mend the dates"
    return Refusal(
        field=f"{field}.steps[{later}]",
        message=message,
        value=f"{day.isoformat()} {at}",
        accepted=accepted,
        rule="overlap",
    )
