"""When, of a FHIR R4 Dosage: Timing as times or slots with days, the least interval at need, first and last day.

``timeOfDay`` or ``when`` say at what times, ``boundsPeriod`` from which day to which; ``frequency`` and
``period`` must agree with them, for a frequency alone says no time of day. At need, one dose in a ``period``
of hours is the least interval (HL7 FHIR R4, Timing).
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any, Final

from dosewright.ground.pure.canonical import decimal_text
from prescriptions.intake.fhir_elements import Element, codes_of, concept_texts

SLOTS: Final = {
    "ACM": "before breakfast",
    "CM": "with breakfast",
    "CD": "with lunch",
    "CV": "with supper",
    "HS": "at bedtime",
}
"""Event timings of HL7 v3 that name a slot of this house."""

DAYS: Final = {
    "mon": "monday",
    "tue": "tuesday",
    "wed": "wednesday",
    "thu": "thursday",
    "fri": "friday",
    "sat": "saturday",
    "sun": "sunday",
}
HOURS_OF: Final = {"h": Decimal(1), "d": Decimal(24)}
DAYS_OF: Final = {"d": 1, "wk": 7}
PER_DAY: Final = {"QD": 1, "BID": 2, "TID": 3, "QID": 4, "AM": 1, "PM": 1}
"""Timing codes of HL7 v3 GTSAbbreviation that say how many doses a day has."""

RANGE: Final = "a range leaves open what is to be done"


def read_regular(timing: Element, places: dict[str, str]) -> tuple[dict[str, Any], int]:
    """Return the times or slots and the days of a regular dose, and the number of doses of a day."""
    repeat = _repeat(timing)
    if repeat is None:
        return {}, 0
    times = [_clock(repeat, n, one) for n, one in enumerate(repeat.texts("timeOfDay"))]
    slots = _slots(repeat)
    days = [_weekday(repeat, n, one) for n, one in enumerate(repeat.texts("dayOfWeek"))]
    places["times"] = repeat.place("timeOfDay") if times else repeat.path
    places["slots"], places["weekdays"] = repeat.place("when"), repeat.place("dayOfWeek")
    places["every_n_days"] = repeat.place("period")
    if "timeOfDay" not in repeat and "when" not in repeat:
        accepted = f"timeOfDay such as 08:00:00, or when of {', '.join(SLOTS)}"
        repeat.refuse("timeOfDay", "at what time of day is not said", accepted=accepted, rule="timing")
    doses = len(times) + len(slots)
    every = _every(repeat, doses=doses, weekdays=len(days))
    _agrees(timing, doses)
    step = {
        "times": [one for one in times if one] or None,
        "slots": slots or None,
        "weekdays": [one for one in days if one] or None,
        "every_n_days": None if every in {None, 1} else Decimal(every or 1),
    }
    return step, doses


def _repeat(timing: Element) -> Element | None:
    timing.not_taken("event", because="single moments are not read here", accepted="repeat")
    repeat = timing.child("repeat")
    code = timing.child("code")
    timing.close()
    if repeat is None:
        message = "when the dose is taken is said in a code alone" if code else "when the dose is taken is not said"
        timing.refuse("repeat", message, accepted="repeat with timeOfDay or when, and boundsPeriod", rule="timing")
        return None
    repeat.not_taken("frequencyMax", "periodMax", "countMax", "boundsRange", because=RANGE)
    repeat.not_taken("duration", "durationMax", "durationUnit", because="a dosage unit is taken at once")
    repeat.not_taken("offset", because="an offset from a meal is not read here", accepted="timeOfDay")
    repeat.not_taken("count", because="a count of doses is not read here", accepted="boundsPeriod with start and end")
    return repeat


def _clock(repeat: Element, number: int, text: str) -> str | None:
    if text.endswith(":00") and len(text) == 8:
        return text[:5]
    if len(text) == 5:
        return text
    accepted = "a time such as 08:00:00"
    repeat.refuse(f"timeOfDay[{number}]", "this is no whole minute", value=text, accepted=accepted, rule="time")
    return None


def _slots(repeat: Element) -> list[str]:
    found = []
    for number, code in enumerate(repeat.texts("when")):
        if code in SLOTS:
            found.append(SLOTS[code])
        else:
            accepted = f"one of {', '.join(SLOTS)}, or timeOfDay"
            message = "this names no time of day of this house"
            repeat.refuse(f"when[{number}]", message, value=code, accepted=accepted, rule="timing")
    return found


def _weekday(repeat: Element, number: int, code: str) -> str | None:
    if code not in DAYS:
        accepted = f"one of {', '.join(DAYS)}"
        repeat.refuse(f"dayOfWeek[{number}]", "this is no weekday", value=code, accepted=accepted, rule="choice")
    return DAYS.get(code)


def _every(repeat: Element, *, doses: int, weekdays: int) -> int | None:
    """Return every how many days the doses fall, or None where what is written contradicts itself."""
    frequency, period, unit = repeat.count("frequency"), repeat.number("period"), repeat.text("periodUnit")
    if frequency is None and period is None and unit is None:
        return 1
    whole = period is not None and period >= 1 and period == period.to_integral_value()
    if not whole or unit not in DAYS_OF or period is None:
        written = f"{frequency or 1} in {decimal_text(period) if period is not None else '?'} {unit or '?'}"
        accepted = "whole days (d) or weeks (wk), with timeOfDay"
        repeat.refuse("period", "such a period is not made here", value=written, accepted=accepted, rule="timing")
        return None
    days = int(period) * DAYS_OF[unit]
    expected = doses if not weekdays else doses * (weekdays if days == 7 else 1)
    if doses and ((frequency or 1) != expected or (weekdays and days not in {1, 7})):
        message = "frequency and period do not agree with the times and weekdays"
        written = f"{frequency or 1} in {days} days, {doses} times of day, {weekdays or 'no'} weekdays"
        accepted = f"a frequency of {expected}" if not weekdays or days in {1, 7} else "a period of 1 d or 1 wk"
        repeat.refuse("frequency", message, value=written, accepted=accepted, rule="timing")
        return None
    return 1 if weekdays else days


def _agrees(timing: Element, doses: int) -> None:
    code = timing.child("code")
    if code is None:
        return
    named = {one for _, one in codes_of(code)}
    words = concept_texts(code)
    counts = {PER_DAY[one] for one in named & set(PER_DAY)}
    if named - set(PER_DAY) or (not named and words):
        written = ", ".join(sorted(named - set(PER_DAY)) or words)
        accepted = f"one of {', '.join(PER_DAY)}, or leave it out"
        timing.refuse("code", "the code is not read here", value=written, accepted=accepted, rule="timing")
    elif doses and counts and counts != {doses}:
        written = ", ".join(sorted(named))
        message = "the code says another number of doses a day than repeat"
        timing.refuse("code", message, value=written, accepted="what repeat says", rule="timing")


def read_interval(timing: Element, places: dict[str, str]) -> str | None:
    """Return the least time between two doses at need, as "6 h"."""
    timing.not_taken("code", because="a code beside a dose at need is not read here", accepted="repeat")
    repeat = _repeat(timing)
    places["as_needed"] = timing.place("repeat")
    if repeat is None:
        return None
    repeat.not_taken("timeOfDay", "when", "dayOfWeek", because="a dose at need has no times of its own")
    frequency, period, unit = repeat.count("frequency"), repeat.number("period"), repeat.text("periodUnit")
    if (frequency or 1) != 1 or period is None or unit not in HOURS_OF:
        accepted = "frequency 1 in a period of hours (h): the least time between two doses"
        written = f"{frequency or 1} in {'?' if period is None else decimal_text(period)} {unit or '?'}"
        repeat.refuse("period", "the least interval is not clear", value=written, accepted=accepted, rule="timing")
        return None
    return f"{decimal_text(period * HOURS_OF[unit])} h"


def read_bounds(timing: Element, places: dict[str, str]) -> dict[str, Any]:
    """Return the first and the last day, both included."""
    repeat = timing.child("repeat")
    if repeat is None:
        return {}
    bounds = repeat.child("boundsPeriod")
    where = repeat.place("boundsPeriod")
    places |= {"start_date": f"{where}.start", "days": where, "stop_date": f"{where}.end"}
    accepted = "boundsPeriod with start and end, both included"
    repeat.not_taken("boundsDuration", because="a duration does not say on which day it begins", accepted=accepted)
    repeat.pass_over("timeOfDay", "when", "dayOfWeek", "frequency", "period", "periodUnit")
    for name in _REFUSED_BEFORE:
        repeat.pass_over(name)
    repeat.close()
    if bounds is None:
        if "boundsDuration" not in repeat and "boundsRange" not in repeat:
            repeat.refuse("boundsPeriod", "first and last day are not said", accepted=accepted, rule="missing")
        return {}
    start, end = bounds.day("start"), bounds.day("end", ends=True)
    bounds.close()
    for name, found in (("start", start), ("end", end)):
        if found is None and name not in bounds:
            bounds.refuse(name, "this is missing", accepted=accepted, rule="missing")
    return {"start_date": start, "stop_date": end}


_REFUSED_BEFORE: Final = (
    *("frequencyMax", "periodMax", "countMax", "boundsRange", "duration", "durationMax", "durationUnit"),
    *("offset", "count"),
)
