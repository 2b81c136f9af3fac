"""One FHIR R4 Dosage as one step of the order JSON: dose, when, from when to when.

Only an exact amount is a dose: no range, no rate, no count of a product's pieces. What the patient should be
told beyond the dose is refused, because no label here would carry it (HL7 FHIR R4, Dosage).
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.quantities import UNITS, Kind, parse_dose_amount
from prescriptions.intake.fhir_elements import SNOMED, Element, codes_of, concept_texts
from prescriptions.intake.fhir_people import read_quantity
from prescriptions.intake.fhir_timing import RANGE, read_bounds, read_interval, read_regular
from prescriptions.intake.reading import without_none

ORAL: Final = (SNOMED, "26643006")
SWALLOWING: Final = frozenset({(SNOMED, "421521009"), (SNOMED, "419652001")})
"""Swallow; take (SNOMED CT dosing instructions, as HL7 FHIR R4 examples use them)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DosageRead:
    """One step as far as it was read, where its parts stand, and the sender's free text of the whole."""

    step: dict[str, Any]
    places: dict[str, str]
    text: str


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
        when, doses = read_regular(timing, places)
        step |= when
        _check_day(dosage, dose, basis, doses=doses)
    else:
        places["as_needed.most_per_day"] = dosage.place("maxDosePerPeriod")
        interval, most = read_interval(timing, places), _most_per_day(dosage, dose, basis)
        step["as_needed"] = without_none(least_interval=interval, most_per_day=most, reason=at_need or None)
    if timing is not None:
        step |= read_bounds(timing, places)
    step |= _cap(dosage, dose, basis, places)
    _route(dosage)
    _method(dosage)
    text = _instructions(dosage)
    dosage.not_taken("site", because="units made here are swallowed; no site is meant")
    dosage.not_taken("maxDosePerLifetime", because="no count of a lifetime's doses is kept here")
    dosage.pass_over("sequence")
    dosage.close()
    return DosageRead(step=without_none(**step), places=places, text=text)


def _dose(dosage: Element) -> tuple[str | None, Kind | None]:
    rates = dosage.children("doseAndRate")
    if len(rates) != 1:
        message = "the dose is missing" if not rates else "there are several doses in one instruction"
        dosage.refuse("doseAndRate", message, value=len(rates), accepted="one doseQuantity", rule="dose")
        return None, None
    rate = rates[0]
    rate.not_taken("doseRange", because=RANGE, accepted="doseQuantity")
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
    written, known = f"{value} {unit}".strip(), UNITS.get(unit)
    try:
        parse_dose_amount(written, field=quantity.path)
    except BadInput as error:
        dosage.refusals.extend(error.refusals)
        return None, None
    return written, known.kind if known else None


def _at_need(dosage: Element) -> str | None:
    """Return None for a regular dose, else for what it is taken ("" where that is not said)."""
    concept, flag = dosage.child("asNeededCodeableConcept"), dosage.flag("asNeededBoolean")
    if concept is None:
        return "" if flag else None
    return next(iter(concept_texts(concept)), "")


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


def _instructions(dosage: Element) -> str:
    """Refuse what the patient should be told and no label here would carry; return the free text of the whole.

    The text is not read for a dose, but may contradict the coded elements: it goes into the order as the words of its
    sender, which whoever signs or attests is shown.
    """
    dosage.not_taken("patientInstruction", because="instructions of the sender do not come onto the label")
    for number, one in enumerate(dosage.children("additionalInstruction")):
        written = ", ".join(concept_texts(one))
        message = "further instructions do not come onto the label"
        accepted = "leave it out, or ask the pharmacist by a note"
        dosage.refuse(
            f"additionalInstruction[{number}]", message, value=written, accepted=accepted, rule="fhir-element"
        )
    text = " ".join((dosage.text("text") or "").split())
    if text:
        dosage.note(f"{dosage.place('text')}: the coded elements hold; the text is kept as words of the sender")
    return text
