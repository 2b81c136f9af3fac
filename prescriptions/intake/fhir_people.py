"""The people of a FHIR R4 order: its Patient with body measures and allergies, its prescriber."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Final

from dosewright.ground.pure.canonical import decimal_text
from prescriptions.intake.fhir_elements import LOINC, SNOMED, UCUM, Element, codes_of, concept_texts
from prescriptions.intake.reading import without_none

NO_ALLERGY: Final = frozenset({(SNOMED, "716186003"), (SNOMED, "409137002")})
"""No known allergy; no known drug allergy (SNOMED CT, as HL7 FHIR R4 examples use them)."""

MEASURES: Final = {
    (LOINC, "29463-7"): "weight",
    (LOINC, "3141-9"): "weight",
    (LOINC, "8302-2"): "height",
    (LOINC, "8306-3"): "height",
    (LOINC, "3137-7"): "height",
}
"""Body weight, measured body weight; body height, lying, measured (LOINC; HL7 FHIR R4 vital signs)."""

_MEDICAL_RECORD: Final = "MR"
_STATED: Final = frozenset({"final", "amended", "corrected"})
_PERSON_ASIDE: Final = (
    *("telecom", "address", "maritalStatus", "multipleBirthBoolean", "multipleBirthInteger", "photo", "contact"),
    *("communication", "generalPractitioner", "managingOrganization", "qualification", "gender", "birthDate"),
)


def read_identifier(person: Element, *, what: str) -> dict[str, str] | None:
    """Return the one identifier by which a person is known, as system and value.

    Of several it is the one for use here ("usual"), then the medical record number; none or several of
    those is refused, for a guess could name somebody else.
    """
    whole: list[tuple[Element, dict[str, str], set[tuple[str, str]]]] = []
    for one in person.children("identifier"):
        system, value = one.text("system"), one.text("value")
        kind = one.child("type")
        codes = codes_of(kind) if kind else set()
        one.pass_over("use", "type", "period", "assigner")
        one.close()
        if value:
            whole.append((one, {"system": system or "", "value": value}, codes))
    usual = [each for each in whole if each[0].take("use") == "usual"]
    record = [each for each in whole if any(code == _MEDICAL_RECORD for _, code in each[2])]
    chosen = next((some for some in (whole, usual, record) if len(some) == 1), [])
    if not chosen:
        message = f"the {what} has no identifier" if not whole else f"which identifier names the {what} is not clear"
        accepted = 'one identifier with system and value; of several, one of use "usual" or of type MR'
        person.refuse("identifier", message, value=None if not whole else len(whole), accepted=accepted, rule="person")
        return None
    return chosen[0][1]


def read_patient_resource(patient: Element) -> dict[str, Any]:
    """Return a Patient as the order JSON has it, as far as FHIR R4 tells."""
    identifier = read_identifier(patient, what="patient")
    if identifier is not None and not identifier["system"]:
        patient.refuse("identifier", "whose number this is, is not said", accepted="its system", rule="person")
    family, given = _name(patient)
    birth = patient.day("birthDate")
    sex = patient.text("gender")
    if patient.flag("active") is False:
        patient.refuse("active", "the record is not in use", value="false", accepted="an active one", rule="person")
    if patient.flag("deceasedBoolean"):
        patient.refuse("deceasedBoolean", "the patient is dead", value="true", accepted="a patient", rule="person")
    patient.not_taken("deceasedDateTime", because="the patient is dead")
    for one in patient.children("link"):
        kind = one.text("type")
        if kind != "seealso":
            message = "the record was replaced, or replaces another"
            one.refuse("type", message, value=kind, accepted="the record in use", rule="person")
    patient.pass_over(*_PERSON_ASIDE)
    patient.close()
    return without_none(
        identifier=identifier, family_name=family, given_name=given, birth_date=birth, sex=sex or "unknown"
    )


def read_prescriber_resource(practitioner: Element) -> str | None:
    """Return the registration of a Practitioner."""
    identifier = read_identifier(practitioner, what="prescriber")
    if practitioner.flag("active") is False:
        practitioner.refuse("active", "the record is not in use", value="false", accepted="true", rule="person")
    practitioner.pass_over("name", *_PERSON_ASIDE)
    practitioner.close()
    return identifier["value"] if identifier else None


def read_measures(observations: Iterable[Element]) -> dict[str, dict[str, str]]:
    """Return the latest weight and height of the observations, as the order JSON has them."""
    found: dict[str, dict[str, str]] = {}
    for one in observations:
        code = one.child("code")
        kind = next((MEASURES[each] for each in codes_of(code) if each in MEASURES), None) if code else None
        if kind is None:
            one.note(f"{one.path}: neither weight nor height; left out")
            continue
        measure = _measure(one)
        if measure is not None and measure["measured_on"] > found.get(kind, {}).get("measured_on", ""):
            found[kind] = measure
    return found


def read_allergies(stated: Iterable[Element]) -> dict[str, Any]:
    """Return what AllergyIntolerance resources state; without any, that nothing is recorded."""
    entries, none = [], False
    for one in stated:
        code = one.child("code")
        if _code(one, "clinicalStatus") not in {"", "active"}:
            one.note(f"{one.path}: not active; left out")
        elif _code(one, "verificationStatus") in {"refuted", "entered-in-error"}:
            one.note(f"{one.path}: refuted or entered in error; left out")
        elif code and codes_of(code) & NO_ALLERGY:
            none = True
        else:
            words = concept_texts(code) if code else []
            if not words:
                one.refuse("code", "what the patient does not bear is not said", accepted="a text", rule="allergy")
            entries += words[:1]
    if entries:
        return {"status": "listed", "entries": entries}
    return {"status": "none" if none else "not recorded", "entries": []}


def _name(patient: Element) -> tuple[str | None, str | None]:
    names = []
    for one in patient.children("name"):
        use, given = one.text("use"), one.texts("given")
        names.append((use or "", one.text("family"), " ".join(given)))
        one.pass_over("text", "prefix", "suffix", "period")
        one.close()
    official = [each for each in names if each[0] == "official"]
    usual = [each for each in names if each[0] == "usual"]
    chosen = next((some for some in (names, official, usual) if len(some) == 1), [])
    if not chosen or not chosen[0][1] or not chosen[0][2]:
        accepted = 'one name with family and given; of several, one of use "official"'
        patient.refuse("name", "family and given name are not clear", accepted=accepted, rule="person")
        return None, None
    return chosen[0][1], chosen[0][2]


def _measure(one: Element) -> dict[str, str] | None:
    if one.text("status") not in _STATED:
        one.note(f"{one.path}: not final; left out")
        return None
    quantity, day = one.child("valueQuantity"), one.text("effectiveDateTime")
    if quantity is None or day is None:
        accepted = "valueQuantity and effectiveDateTime"
        one.refuse("value", "a measure needs its value and its day", accepted=accepted, rule="fhir-element")
        return None
    value, unit = read_quantity(quantity)
    return None if value is None or unit is None else {"value": value, "unit": unit, "measured_on": day[:10]}


def read_quantity(quantity: Element) -> tuple[str | None, str | None]:
    """Return value and UCUM code of a Quantity, exactly as written.

    The code holds; a ``unit`` that names another one, a comparator or another system is refused.
    """
    value, code, unit = quantity.number("value"), quantity.text("code"), quantity.text("unit")
    system = quantity.text("system")
    quantity.not_taken("comparator", because="a bound is no amount", accepted="an exact value")
    if code and system not in {None, UCUM}:
        accepted = f"{UCUM}, with a mass such as mg"
        quantity.refuse("system", "the unit is not of UCUM", value=system, accepted=accepted, rule="unit")
        return None, None
    if code and unit and unit != code and _plain_unit(unit) not in {None, code}:
        message = "unit and code name different units"
        quantity.refuse("unit", message, value=f"{unit}, {code}", accepted="the same unit twice", rule="unit")
        return None, None
    quantity.close()
    if value is None:
        quantity.refuse("value", "this is missing", accepted="a number", rule="missing")
    return None if value is None else decimal_text(value), code or unit or ""


_UNITS: Final = {
    **dict.fromkeys(("mg", "mgs", "milligram", "milligrams"), "mg"),
    **dict.fromkeys(("ug", "mcg", "\u00b5g", "\u03bcg", "microgram", "micrograms"), "ug"),
    **dict.fromkeys(("g", "gram", "grams", "gm"), "g"),
    **dict.fromkeys(("kg", "kgs", "kilogram", "kilograms"), "kg"),
    **{word: word for word in ("mg/kg", "ug/kg", "mg/m2", "ug/m2", "g/m2", "cm", "mm", "m", "mL", "L", "[lb_av]")},
    **dict.fromkeys(("lb", "lbs", "pound", "pounds"), "[lb_av]"),
}
"""Words for people beside a code, and the code each means; a word that is not here contradicts nothing."""


def _plain_unit(unit: str) -> str | None:
    return _UNITS.get(unit) or _UNITS.get(unit.lower() if unit.lower() in {"milligram", "microgram", "gram"} else unit)


def _code(one: Element, name: str) -> str:
    concept = one.child(name)
    return next((code for _, code in codes_of(concept)), "") if concept else ""
