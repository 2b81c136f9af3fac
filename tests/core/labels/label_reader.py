"""A small reader of label directions that knows nothing of the code that wrote them: English in, doses out.

It reads as a patient does, refuses any word that it does not expect, and counts on its own calendar.
"""

from __future__ import annotations

import re
from datetime import date, time, timedelta
from decimal import Decimal
from typing import NamedTuple

NUMBERS = (
    *("ONE", "TWO", "THREE", "FOUR", "FIVE", "SIX", "SEVEN", "EIGHT", "NINE", "TEN"),
    *("ELEVEN", "TWELVE", "THIRTEEN", "FOURTEEN", "FIFTEEN", "SIXTEEN", "SEVENTEEN", "EIGHTEEN", "NINETEEN", "TWENTY"),
)
MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July", "August", "September", "October"),
    *("November", "December"),
)
DAYS = ("MONDAYS", "TUESDAYS", "WEDNESDAYS", "THURSDAYS", "FRIDAYS", "SATURDAYS", "SUNDAYS")
MASS = r"([0-9,]+(?:\.[0-9]+)?) (mg|micrograms?)"
DAY = r"([0-9]{1,2}) ([A-Z][a-z]+) ([0-9]{4})"
CLOCK = re.compile(
    r"at (?:(12 noon)|(12 midnight, as the day begins)"
    r"|([0-9]{1,2})(?::([0-9]{2}))? (in the morning|in the afternoon|in the evening|at night)(?: \(([0-9:]{5})\))?)"
)
SLOT = re.compile(r"(before breakfast|with breakfast|with lunch|with supper|at bedtime)")
NEEDED = re.compile(
    r"only when needed for (.+); wait at least ([0-9.]+) (minutes|hours?) between doses, "
    r"at most ([0-9]+) doses? in 24 hours"
)


class Taken(NamedTuple):
    """One dose that the label tells the patient to take, or at need lets them: ``when`` is a time, slot or number."""

    on: date
    when: time | str | int
    mg: Decimal


class Label(NamedTuple):
    """What a label says."""

    doses: list[Taken]
    reason: str = ""
    hours: Decimal = Decimal(0)


def read(directions: str, period: str) -> Label:
    """Return the doses that a label's directions and period say; fails on any word that is not understood."""
    whole = re.fullmatch(rf"Take ([A-Z]+) {MASS} (tablets?) \({MASS}\) (.+)\.", directions)
    assert whole, directions
    count, strength, strength_unit, form, dose, dose_unit, when = whole.groups()
    units = NUMBERS.index(count) + 1
    assert form == ("tablet" if units == 1 else "tablets")
    mg = _mg(dose, dose_unit)
    assert units * _mg(strength, strength_unit) == mg, "the units do not add up to the dose"
    first, last = _period(period)
    if found := NEEDED.fullmatch(when):
        hours = Decimal(found[2]) / (60 if found[3] == "minutes" else 1)
        doses = [Taken(day, n, mg) for day in _span(first, last) for n in range(1, int(found[4]) + 1)]
        return Label(doses=doses, reason=found[1], hours=hours)
    times, days = _split(when)
    return Label(doses=[Taken(day, at, mg) for day in _days(days, first, last) for at in _times(times)])


def _mg(number: str, unit: str) -> Decimal:
    return Decimal(number.replace(",", "")) / (1 if unit == "mg" else 1000)


def _period(text: str) -> tuple[date, date]:
    text = re.sub(r" Supply ([0-9]+) of ([0-9]+)\.$", "", text)
    if found := re.fullmatch(rf"On {DAY} only\.", text):
        return _date(*found.groups()), _date(*found.groups())
    found = re.fullmatch(rf"From {DAY} to {DAY}\.", text)
    assert found, text
    return _date(*found.groups()[:3]), _date(*found.groups()[3:])


def _date(day: str, month: str, year: str) -> date:
    return date(int(year), MONTHS.index(month) + 1, int(day))


def _span(first: date, last: date) -> list[date]:
    return [date.fromordinal(n) for n in range(first.toordinal(), last.toordinal() + 1)]


def _split(when: str) -> tuple[str, str]:
    found = re.fullmatch(r"(.+), (every day|every [0-9]+ days only: .+|on .+ only)", when)
    assert found, when
    return found[1], found[2]


def _days(text: str, first: date, last: date) -> list[date]:
    if text == "every day":
        return _span(first, last)
    if found := re.fullmatch(rf"every ([0-9]+) days only: {DAY}, then {DAY}, and so on", text):
        one, two, gap = _date(*found.groups()[1:4]), _date(*found.groups()[4:]), int(found[1])
        assert one == first
        assert two - one == timedelta(days=gap)
        return [day for day in _span(first, last) if (day - one).days % gap == 0]
    if found := re.fullmatch(rf"on {DAY} only", text):
        assert first == last == _date(*found.groups())
        return [first]
    found = re.fullmatch(r"on (.+) only", text)
    assert found, text
    names = re.split(r", | and ", found[1])
    # 5 January 1970 was a Monday, four days after the first day of Unix time.
    monday = date(1970, 1, 5).toordinal()
    return [day for day in _span(first, last) if DAYS[(day.toordinal() - monday) % 7] in names]


def _times(text: str) -> list[time | str]:
    found: list[time | str] = [_clock(one) for one in CLOCK.finditer(text)]
    rest = CLOCK.sub("", text)
    found += SLOT.findall(rest)
    assert re.fullmatch(r"(, | and )*", SLOT.sub("", rest)), f"not understood: {text}"
    return found


def _clock(found: re.Match[str]) -> time:
    noon, midnight, hour, minute, part, clock24 = found.groups()
    if noon or midnight:
        return time(12 if noon else 0)
    if clock24:
        return time.fromisoformat(clock24)
    return time(int(hour) % 12 + (0 if part == "in the morning" else 12), int(minute or 0))
