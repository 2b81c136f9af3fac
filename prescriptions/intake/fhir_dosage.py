"""One FHIR R4 Dosage as one step of the order JSON: dose, when, from when to when.

``timeOfDay`` or ``when`` say at what times, ``boundsPeriod`` from which day to which; ``frequency`` and
``period`` must agree with them, for a frequency alone says no time of day. At need, ``frequency`` in
``period`` hours is the least interval and ``maxDosePerPeriod`` the most of a day (HL7 FHIR R4, Dosage and
Timing).
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.quantities import UNITS, Kind
from prescriptions.intake.fhir_elements import SNOMED, Element, codes_of, concept_texts
from prescriptions.intake.fhir_people import read_quantity
from prescriptions.intake.reading import without_none

ORAL: Final = (SNOMED, "26643006")
SWALLOWING: Final = frozenset({(SNOMED, "421521009"), (SNOMED, "419652001")})
"""Swallow; take (SNOMED CT dosing instructions, as HL7 FHIR R4 examples use them)."""

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
HOURS_OF: Final = {"min": Decimal(1) / 60, "h": Decimal(1), "d": Decimal(24)}
DAYS_OF: Final = {"d": 1, "wk": 7}
PER_DAY: Final = {"QD": 1, "BID": 2, "TID": 3, "QID": 4, "AM": 1, "PM": 1}
"""Timing codes of HL7 v3 GTSAbbreviation that say how many doses a day has."""

_RANGE: Final = "a range leaves open what is to be done"


@dataclass(frozen=True, slots=True, kw_only=True)
class DosageRead:
    """One step as far as it was read, the reason of a dose at need, and where its parts stand."""

    step: dict[str, Any]
    places: dict[str, str]


def read_dosage(dosage: Element) -> DosageRead:
    """Return the step of one Dosage; refusals are noted on the element."""
    dose, basis = _dose(dosage)
    step: dict[str, Any] = {"dose": dose}
    places = {"": dosage.path, "dose": dosage.place("doseAndRate[0].doseQuantity")}
    timing = dosage.child("timing")
    at_need = _at_need(dosage)
    if timing is None:
        accepted = "timing.repeat with timeOfDay or when, and boundsPeriod"
        dosage.refuse("timing", "when the dose is taken is not said", accepted=accepted, rule="missing")
    elif at_need is None:
        step |= _regular(timing, dosage, dose, basis, places)
    else:
        step |= {"as_needed": without_none(**_interval(timing, dosage, dose, basis, places), reason=at_need or None)}
    if timing is not None:
        step |= _bounds(timing, places)
    step |= _cap(dosage, dose, basis, places)
    _route(dosage)
    _method(dosage)
    _instructions(dosage)
    dosage.not_taken("site", because="units made here are swallowed; no site is meant")
    dosage.not_taken("maxDosePerLifetime", because="no count of a lifetime's doses is kept here")
    dosage.pass_over("sequence")
    dosage.close()
    return DosageRead(step=without_none(**step), places=places)


def _dose(dosage: Element) -> tuple[str | None, Kind | None]:
    rates = dosage.children("doseAndRate")
    if len(rates) != 1:
        message = "the dose is missing" if not rates else "there are several doses in one instruction"
        dosage.refuse("doseAndRate", message, value=len(rates), accepted="one doseQuantity", rule="dose")
        return None, None
    rate = rates[0]
    rate.not_taken("doseRange", because=_RANGE, accepted="doseQuantity")
    rate.not_taken("rateRatio", "rateRange", "rateQuantity", because="a rate is no dose of a dosage unit")
    quantity = rate.child("doseQuantity")
    rate.pass_over("type")
    rate.close()
    if quantity is None:
        if not any(name in rate for name in ("doseRange", "rateRatio", "rateRange", "rateQuantity")):
            rate.refuse("doseQuantity", "the dose is missing", accepted="doseQuantity in mg", rule="missing")
        return None, None
    value, unit = read_quantity(quantity)
    if value is None or unit is None:
        return None, None
    known = UNITS.get(unit)
    return f"{value} {unit}", known.kind if known else None


def _at_need(dosage: Element) -> str | None:
    """Return None for a regular dose, else for what it is taken ("" where that is not said)."""
    concept, flag = dosage.child("asNeededCodeableConcept"), dosage.flag("asNeededBoolean")
    if concept is None:
        return "" if flag else None
    return next(iter(concept_texts(concept)), "")


def _regular(
    timing: Element, dosage: Element, dose: str | None, basis: Kind | None, places: dict[str, str]
) -> dict[str, Any]:
    repeat = _repeat(timing)
    if repeat is None:
        return {}
    times = [_clock(repeat, n, one) for n, one in enumerate(repeat.texts("timeOfDay"))]
    slots = _slots(repeat)
    days = [_weekday(repeat, n, one) for n, one in enumerate(repeat.texts("dayOfWeek"))]
    places["times"] = repeat.place("timeOfDay") if times else repeat.path
    places["slots"], places["weekdays"] = repeat.place("when"), repeat.place("dayOfWeek")
    places["every_n_days"] = repeat.place("period")
    if not times and not slots:
        accepted = f"timeOfDay such as 08:00:00, or when of {', '.join(SLOTS)}"
        repeat.refuse("timeOfDay", "at what time of day is not said", accepted=accepted, rule="timing")
    every = _every(repeat, doses=len(times) + len(slots), weekdays=len(days))
    _agrees(timing, len(times) + len(slots))
    _check_day(dosage, dose, basis, doses=len(times) + len(slots))
    return {
        "times": [one for one in times if one] or None,
        "slots": slots or None,
        "weekdays": [one for one in days if one] or None,
        "every_n_days": None if every in {None, 1} else Decimal(every or 1),
    }


def _repeat(timing: Element) -> Element | None:
    timing.not_taken("event", because="single moments are not read here", accepted="repeat")
    repeat = timing.child("repeat")
    code = timing.child("code")
    timing.close()
    if repeat is None:
        message = "when the dose is taken is said in a code alone" if code else "when the dose is taken is not said"
        timing.refuse("repeat", message, accepted="repeat with timeOfDay or when, and boundsPeriod", rule="timing")
        return None
    repeat.not_taken("frequencyMax", "periodMax", "countMax", "boundsRange", because=_RANGE)
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
    if (frequency or 1) != expected or (weekdays and days not in {1, 7}):
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
    elif counts and counts != {doses}:
        written = ", ".join(sorted(named))
        message = "the code says another number of doses a day than repeat"
        timing.refuse("code", message, value=written, accepted="what repeat says", rule="timing")


def _interval(
    timing: Element, dosage: Element, dose: str | None, basis: Kind | None, places: dict[str, str]
) -> dict[str, Any]:
    timing.not_taken("code", because="a code beside a dose at need is not read here", accepted="repeat")
    repeat = _repeat(timing)
    places["as_needed"] = timing.place("repeat")
    places["as_needed.most_per_day"] = dosage.place("maxDosePerPeriod")
    if repeat is None:
        return {}
    repeat.not_taken("timeOfDay", "when", "dayOfWeek", because="a dose at need has no times of its own")
    frequency, period, unit = repeat.count("frequency"), repeat.number("period"), repeat.text("periodUnit")
    interval = None
    if (frequency or 1) != 1 or period is None or unit not in HOURS_OF:
        accepted = "frequency 1 in a period of hours (h): the least time between two doses"
        written = f"{frequency or 1} in {period} {unit}"
        repeat.refuse("period", "the least interval is not clear", value=written, accepted=accepted, rule="timing")
    else:
        interval = f"{decimal_text(period * HOURS_OF[unit])} h"
    return {"least_interval": interval, "most_per_day": _most_per_day(dosage, dose, basis)}


def _most_per_day(dosage: Element, dose: str | None, basis: Kind | None) -> Decimal | None:
    most_mg = _max_per_day_mg(dosage)
    if most_mg is None:
        if "maxDosePerPeriod" not in dosage:
            accepted = "maxDosePerPeriod for one day"
            dosage.refuse("maxDosePerPeriod", "the most of a day is not said", accepted=accepted, rule="missing")
        return None
    dose_mg = _mass_mg(dose, basis)
    if dose_mg is None:
        return None
    count = most_mg / dose_mg
    if count != count.to_integral_value() or count < 1:
        message = "the most of a day is no whole number of doses"
        written = f"{decimal_text(most_mg)} mg in doses of {decimal_text(dose_mg)} mg"
        accepted = "a whole multiple of the dose"
        dosage.refuse("maxDosePerPeriod", message, value=written, accepted=accepted, rule="timing")
        return None
    return count


def _check_day(dosage: Element, dose: str | None, basis: Kind | None, *, doses: int) -> None:
    """Hold the most of a day, where it is stated, against a regular day's doses of the same dosage."""
    most_mg = _max_per_day_mg(dosage)
    if most_mg is None or dose is None:
        return
    dose_mg = _mass_mg(dose, basis)
    if dose_mg is None:
        because = "the most of a day cannot be held against a dose by body size"
        dosage.not_taken("maxDosePerPeriod", because=because, accepted="maxDosePerAdministration")
    elif dose_mg * doses > most_mg:
        message = "the day's doses are more than the most of a day"
        written = f"{doses} x {decimal_text(dose_mg)} mg"
        limit = f"{decimal_text(most_mg)} mg"
        accepted = f"at most {limit} a day"
        dosage.refuse("maxDosePerPeriod", message, value=written, limit=limit, accepted=accepted, rule="dose")


def _max_per_day_mg(dosage: Element) -> Decimal | None:
    most = dosage.child("maxDosePerPeriod")
    if most is None:
        return None
    numerator, denominator = most.child("numerator"), most.child("denominator")
    most.close()
    value, unit = read_quantity(numerator) if numerator else (None, None)
    period, period_unit = read_quantity(denominator) if denominator else (None, None)
    mass_mg = _mass_mg(None if value is None else f"{value} {unit}", UNITS[unit].kind if unit in UNITS else None)
    if mass_mg is None or (period, period_unit) not in {("1", "d"), ("24", "h")}:
        accepted = "a mass such as mg in 1 d"
        dosage.refuse("maxDosePerPeriod", "the most of a day is not clear", accepted=accepted, rule="fhir-element")
        return None
    return mass_mg


def _mass_mg(amount: str | None, kind: Kind | None) -> Decimal | None:
    if amount is None or kind is not Kind.MASS:
        return None
    value, _, unit = amount.partition(" ")
    return Decimal(value) * UNITS[unit].factor or None


def _bounds(timing: Element, places: dict[str, str]) -> dict[str, Any]:
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


def _cap(dosage: Element, dose: str | None, basis: Kind | None, places: dict[str, str]) -> dict[str, Any]:
    """Read the most of one dose: a cap of a dose by body size; of a dose in mg it must be no less than that."""
    most = dosage.child("maxDosePerAdministration")
    if most is None:
        return {}
    places["max_dose"] = dosage.place("maxDosePerAdministration")
    value, unit = read_quantity(most)
    if value is None:
        return {}
    if basis is not Kind.MASS:
        return {"max_dose": f"{value} {unit}"}
    most_mg = _mass_mg(f"{value} {unit}", UNITS[unit].kind if unit in UNITS else None)
    dose_mg = _mass_mg(dose, basis)
    if most_mg is None or dose_mg is None or dose_mg > most_mg:
        message = "the dose is more than the most of one dose, or cannot be held against it"
        accepted = f"at least {dose}"
        dosage.refuse("maxDosePerAdministration", message, value=f"{value} {unit}", accepted=accepted, rule="dose")
    return {}


def _route(dosage: Element) -> None:
    route = dosage.child("route")
    accepted = "oral (SNOMED CT 26643006)"
    if route is None:
        dosage.refuse("route", "the route is not said", accepted=accepted, rule="missing")
        return
    codes, words = codes_of(route), concept_texts(route)
    said = {each.lower() for each in words}
    if codes - {ORAL} or not (ORAL in codes or said & {"oral", "oral route", "po", "by mouth"}):
        written = ", ".join([*words, *(code for _, code in sorted(codes))])
        dosage.refuse("route", "only the oral route is made here", value=written, accepted=accepted, rule="choice")


def _method(dosage: Element) -> None:
    method = dosage.child("method")
    if method is None:
        return
    codes, words = codes_of(method), concept_texts(method)
    if codes - SWALLOWING or not (codes or {each.lower() for each in words} & {"swallow", "take"}):
        written = ", ".join([*words, *(code for _, code in sorted(codes))])
        accepted = "swallow or take (SNOMED CT 421521009, 419652001)"
        dosage.refuse("method", "units made here are swallowed whole", value=written, accepted=accepted, rule="choice")


def _instructions(dosage: Element) -> None:
    """Refuse further instructions, which no label of this house would carry; note the free text of the whole."""
    dosage.not_taken("patientInstruction", because="instructions of the sender do not come onto the label")
    for number, one in enumerate(dosage.children("additionalInstruction")):
        written = ", ".join(concept_texts(one))
        message = "further instructions do not come onto the label"
        accepted = "leave it out, or ask the pharmacist by a note"
        dosage.refuse(
            f"additionalInstruction[{number}]", message, value=written, accepted=accepted, rule="fhir-element"
        )
    if text := dosage.text("text"):
        dosage.note(f"{dosage.place('text')}: not read; the coded elements hold; the sender wrote: {text[:120]}")
