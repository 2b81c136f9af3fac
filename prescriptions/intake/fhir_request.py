"""One FHIR R4 MedicationRequest as the order JSON, with where each part of it stands.

Only an active order that says to give is taken. Release and the reason why a licensed product will not do
have no element of their own in R4: a form that names a prolonged release is read as such, a name and form
that say nothing are the conventional, immediate release (common practice, no source), and the reason is read
from ``note``; what is not stated stands in the order as not stated, and in the notes of the answer.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any, Final

from dosewright.ground.pure.errors import Refusal
from prescriptions.intake.drafts import LONGEST_SOURCE, UNSENT, Draft, drafted
from prescriptions.intake.fhir_dosage import read_dosage
from prescriptions.intake.fhir_elements import Element, concept_texts
from prescriptions.intake.fhir_people import (
    read_allergies,
    read_measures,
    read_patient_resource,
    read_prescriber_resource,
)
from prescriptions.intake.fhir_supply import check_supply, read_supply
from prescriptions.intake.order_request import OrderRequest
from prescriptions.intake.reading import shown

INTENTS: Final = ("order", "original-order")
NOT_STATED: Final = "not stated in the request"
PROLONGED: Final = re.compile(r"\b(prolonged|extended|sustained)[- ]release\b", re.IGNORECASE)
OTHER_RELEASE: Final = re.compile(
    r"\b(modified|delayed|controlled)[- ]release\b|\b(gastro|enteric)[- ]?(resistant|coated)\b"
    r"|\b(MR|XL|XR|SR|ER|CR|EC|PR|LA)\b",
    re.IGNORECASE,
)
IMMEDIATE: Final = re.compile(r"\b(immediate|conventional)[- ]release\b", re.IGNORECASE)

_ASIDE: Final = (
    *("category", "encounter", "recorder", "reasonReference", "instantiatesCanonical", "instantiatesUri"),
    *("groupIdentifier", "insurance", "performer", "performerType", "statusReason", "eventHistory", "basedOn"),
    *("supportingInformation", "authoredOn", "courseOfTherapyType", "reportedBoolean"),
)
"""What does not change what is to be made: who pays, who wrote it down, why, and after what."""

Find = Callable[[Element], Element | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """What came with a request: how to follow a reference, and who is spoken of in which resources.

    ``about`` returns the resources of a kind that name a patient as their subject.
    """

    find: Find
    about: Callable[[str, Element], list[Element]]


@dataclass(slots=True, kw_only=True)
class _Parts:
    """The order JSON as it grows, and its places."""

    order: dict[str, Any] = field(default_factory=dict)
    places: dict[str, str] = field(default_factory=dict)

    def put(self, name: str, value: Any, place: str) -> None:
        self.places[name] = place
        if value is not None:
            self.order[name] = value


def read_medication_request(request: Element, beside: Beside, *, source: str, today: date) -> Draft:
    """Return the draft of one MedicationRequest; every refusal names an element."""
    parts = _Parts(places={"": request.path})
    source, reference = _reference(request, source)
    parts.put("reference", reference, request.place("identifier"))
    _check_standing(request)
    _medication(request, beside.find, parts)
    _patient(request, beside, parts)
    _prescriber(request, beside.find, parts)
    _why(request, parts)
    _steps(request, parts)
    supply = read_supply(request)
    parts.put("supply_days", supply.days, request.place("dispenseRequest"))
    _aside(request)
    request.close()
    draft = Draft(reference=reference or shown(request.path), source=source, places=parts.places)
    if request.refusals:
        return replace(draft, refusals=tuple(request.refusals), notes=tuple(request.notes))
    draft = replace(drafted(draft, parts.order, today=today), notes=tuple(request.notes))
    return _with_supply(draft, lambda one: check_supply(one, supply))


def _with_supply(draft: Draft, check: Callable[[OrderRequest], list[Refusal]]) -> Draft:
    found = () if draft.request is None else check(draft.request)
    return replace(draft, request=None, refusals=tuple(found)) if found else draft


def _reference(request: Element, source: str) -> tuple[str, str | None]:
    """Return the sender and the sender's own number: the first identifier, else the resource's id."""
    listed = [(one.text("system"), one.text("value"), one) for one in request.children("identifier")]
    for _, _, one in listed:
        one.pass_over("use", "type", "period", "assigner")
        one.close()
    named = [(system, value) for system, value, _ in listed if value]
    if len(named) > 1:
        message = "which identifier is the order's own number is not clear"
        request.refuse("identifier", message, value=len(named), accepted="one identifier", rule="reference")
    if named:
        system, value = named[0]
        if system and len(system) > LONGEST_SOURCE:
            accepted = f"at most {LONGEST_SOURCE} characters"
            request.refuse("identifier[0].system", "this is too long", value=system, accepted=accepted, rule="text")
        return system if system and source == UNSENT else source, value
    identity = request.text("id")
    if identity is None:
        request.refuse("identifier", "the order has no number", accepted="an identifier with value", rule="missing")
    return source, identity


def _check_standing(request: Element) -> None:
    for name, taken in (("status", ("active",)), ("intent", INTENTS)):
        value = request.text(name)
        if value not in taken:
            accepted = " or ".join(taken)
            message = "this is missing" if value is None else f"an order of this {name} is not made"
            request.refuse(name, message, value=value, accepted=accepted, rule="standing")
    if request.flag("doNotPerform"):
        message = "this asks that something is not given"
        request.refuse("doNotPerform", message, value="true", accepted="false", rule="standing")
    if request.flag("reportedBoolean"):
        message = "this tells of an order; it is none"
        request.refuse("reportedBoolean", message, value="true", accepted="the order itself", rule="standing")
    request.not_taken("reportedReference", because="this tells of an order; it is none")
    because = "another order would end, which is done by stopping it here"
    request.not_taken("priorPrescription", because=because, accepted="stop the other order, then send this one")
    priority = request.text("priority")
    if priority not in {None, "routine"}:
        message = "how urgent it is, is said by the day and hour at which it must be ready"
        accepted = "routine; tell the pharmacy by telephone what cannot wait"
        request.refuse("priority", message, value=priority, accepted=accepted, rule="choice")


def _medication(request: Element, find: Find, parts: _Parts) -> None:
    concept, reference = request.child("medicationCodeableConcept"), request.child("medicationReference")
    place = request.place("medicationReference" if concept is None else "medicationCodeableConcept")
    said: list[str] = []
    if concept is not None:
        said = concept_texts(concept)
        name = said[0] if said else None
    elif reference is not None:
        name, said = _from_medication(reference, find)
    else:
        place, name = request.place("medicationCodeableConcept"), None
    if name is None and not request.refusals:
        request.refuse("medicationCodeableConcept", "no substance is named", accepted="its name", rule="missing")
    parts.put("substance", None if name is None else _bare(name), place)
    parts.put("release", _release(request, place, said), place)
    parts.put("route", "oral", request.place("dosageInstruction"))


def _from_medication(reference: Element, find: Find) -> tuple[str | None, list[str]]:
    medication = find(reference)
    if medication is None:
        return None, []
    code, form = medication.child("code"), medication.child("form")
    words, forms = concept_texts(code) if code else [], concept_texts(form) if form else []
    status = medication.text("status")
    if status not in {None, "active"}:
        medication.refuse("status", "this medication is not in use", value=status, accepted="active", rule="standing")
    names = _ingredients(medication)
    medication.not_taken("manufacturer", "batch", because="nobody's product is supplied: units are made here")
    medication.not_taken("amount", because="an amount of a product is no dose", accepted="doseQuantity")
    medication.pass_over("identifier")
    medication.close()
    return next(iter([*names, *words]), None), [*words, *forms, *names]


def _ingredients(medication: Element) -> list[str]:
    found: list[str] = []
    ingredients = medication.children("ingredient")
    if len(ingredients) > 1:
        message = "units made here hold one substance"
        count = len(ingredients)
        medication.refuse("ingredient", message, value=count, accepted="one ingredient", rule="substance")
    for one in ingredients:
        item = one.child("itemCodeableConcept")
        found += concept_texts(item)[:1] if item else []
        one.not_taken("itemReference", because="an ingredient is named here, not referred to")
        one.pass_over("isActive", "strength")
        one.close()
    return found


def _release(request: Element, place: str, said: list[str]) -> str | None:
    words = "; ".join(dict.fromkeys(said))
    if PROLONGED.search(words):
        return "prolonged"
    if other := OTHER_RELEASE.search(words):
        accepted = "prolonged-release, immediate-release, or a name that says neither"
        message = "how the substance is to be released is not clear"
        where = place.removeprefix(f"{request.path}.")
        request.refuse(where, message, value=other.group(), accepted=accepted, rule="release")
        return None
    if words and not IMMEDIATE.search(words):
        request.note(f"{place}: names no modified release; read as immediate")
    return "immediate"


def _bare(name: str) -> str:
    """Return a substance's name without the words that tell its release."""
    return " ".join(IMMEDIATE.sub(" ", PROLONGED.sub(" ", name)).split()).lower()


def _patient(request: Element, beside: Beside, parts: _Parts) -> None:
    subject = request.child("subject")
    if subject is None:
        request.refuse("subject", "whom the order is for is not said", accepted="a Patient", rule="missing")
        return
    if "reference" not in subject and (named := subject.child("identifier")):
        parts.put("patient", {"code": named.text("value") or ""}, subject.place("identifier"))
        return
    resource = beside.find(subject)
    if resource is None:
        return
    if resource.kind != "Patient":
        accepted = "a Patient"
        subject.refuse(
            "reference", "an order is for one patient", value=resource.kind, accepted=accepted, rule="person"
        )
        return
    order = read_patient_resource(resource)
    measures = read_measures(beside.about("Observation", resource))
    allergies = read_allergies(beside.about("AllergyIntolerance", resource))
    parts.put("patient", order | measures | {"allergies": allergies, "swallowing": "not assessed"}, resource.path)
    for name, element in _PATIENT_PLACES.items():
        parts.places[f"patient.{name}"] = resource.place(element)
    for one in beside.about("Observation", resource):
        for kind in ("weight", "height"):
            parts.places.setdefault(f"patient.{kind}", one.path)
    if allergies["status"] == "not recorded":
        request.note(f"{resource.path}: no allergies came with it; read as not recorded")


_PATIENT_PLACES: Final = {
    "identifier": "identifier",
    "family_name": "name",
    "given_name": "name",
    "birth_date": "birthDate",
    "sex": "gender",
}


def _prescriber(request: Element, find: Find, parts: _Parts) -> None:
    requester = request.child("requester")
    place = request.place("requester")
    if requester is None:
        accepted = "a Practitioner with an identifier"
        request.refuse("requester", "who prescribed is not said", accepted=accepted, rule="missing")
        return
    if "reference" not in requester and (named := requester.child("identifier")):
        parts.put("prescriber", {"registration": named.text("value") or ""}, place)
        return
    resource = find(requester)
    if resource is None:
        return
    if resource.kind == "PractitionerRole":
        inner = resource.child("practitioner")
        resource = find(inner) if inner else None
    if resource is None or resource.kind != "Practitioner":
        kind = resource.kind if resource else "a role without its practitioner"
        message = "an order is prescribed by a person"
        requester.refuse("reference", message, value=kind, accepted="a Practitioner", rule="person")
        return
    registration = read_prescriber_resource(resource)
    parts.put("prescriber", None if registration is None else {"registration": registration}, place)


def _why(request: Element, parts: _Parts) -> None:
    reasons = [text for one in request.children("reasonCode") for text in concept_texts(one)[:1]]
    parts.put("indication", "; ".join(reasons)[:200] or None, request.place("reasonCode"))
    notes = []
    for one in request.children("note"):
        notes.append(" ".join((one.text("text") or "").split()))
        one.pass_over("authorReference", "authorString", "time")
        one.close()
    reason = "; ".join(filter(None, notes))
    if len(reason) > 300:
        accepted = "at most 300 characters"
        request.refuse("note", "the notes are too long", value=len(reason), limit="300", accepted=accepted, rule="text")
    if not reason:
        request.note(f"{request.place('note')}: why a licensed product will not do is not stated")
    parts.put("reason", reason or NOT_STATED, request.place("note"))


def _steps(request: Element, parts: _Parts) -> None:
    dosages = request.children("dosageInstruction")
    if not dosages and "dosageInstruction" not in request:
        message = "the dose is missing"
        request.refuse("dosageInstruction", message, accepted="at least one, each with its period", rule="missing")
    read = [read_dosage(one) for one in dosages]
    written = "; ".join(dict.fromkeys(one.text for one in read if one.text))
    parts.put("sender_words", written or None, request.place("dosageInstruction"))
    parts.put("regimen", {"steps": [one.step for one in read]}, request.place("dosageInstruction"))
    for number, one in enumerate(read):
        for name, place in one.places.items():
            parts.places[f"regimen.steps[{number}]{name and '.'}{name}"] = place


def _aside(request: Element) -> None:
    substitution = request.child("substitution")
    if substitution is not None:
        substitution.flag("allowedBoolean")
        because = "which substitution is meant is not clear"
        substitution.not_taken("allowedCodeableConcept", because=because, accepted="allowedBoolean")
        substitution.pass_over("reason")
        substitution.close()
    if "detectedIssue" in request:
        request.note(f"{request.place('detectedIssue')}: not read; the order is screened here")
    request.pass_over("detectedIssue", *_ASIDE)
