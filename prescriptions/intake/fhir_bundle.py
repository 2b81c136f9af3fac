"""FHIR R4 JSON at the door: one MedicationRequest, or a Bundle of them with whom and what they name.

A Bundle of type collection, transaction or batch is taken whole or not at all. (R4 lets the entries of a
batch stand each for itself; here one refused order holds them all, so that nobody has to find out which of
them came in. A transaction's references between entries are followed in any type.)
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Final

from dosewright.ground.pure.errors import BadInput, Refusal, refuse_if_any
from prescriptions.intake.drafts import UNSENT, Draft, Intake, each_once
from prescriptions.intake.fhir_elements import Element
from prescriptions.intake.fhir_references import Index, Resource, followed
from prescriptions.intake.fhir_request import Beside, read_medication_request
from prescriptions.intake.order_json import MOST_ORDERS
from prescriptions.intake.reading import shown

ORDER: Final = "MedicationRequest"
MOST_ABOUT: Final = 100
"""Most measures, and most allergies, of one patient in a Bundle: judgement, no source; each order reads them."""
BUNDLES: Final = ("collection", "transaction", "batch")
READ: Final = ("Patient", "Practitioner", "PractitionerRole", "Medication", "Observation", "AllergyIntolerance")
ASIDE: Final = ("Organization", "Location", "Encounter", "Condition", "Coverage")
"""Resources that may come with an order and are not read: they do not change what is to be made."""


def is_fhir(value: object) -> bool:
    """Say whether a JSON value is a FHIR resource."""
    return isinstance(value, dict) and "resourceType" in value


def read_fhir(value: object, *, today: date, source: str = UNSENT) -> Intake:
    """Return the orders of a MedicationRequest or a Bundle (from `strict_json.parse`), each read or refused.

    Raises BadInput for any other resource and for a Bundle that is none of `BUNDLES`.
    """
    refusals: list[Refusal] = []
    resources = _resources(value, refusals)
    refuse_if_any(BadInput, refusals)
    orders = [one for one in resources if one.kind == ORDER]
    if not 1 <= len(orders) <= MOST_ORDERS:
        message, accepted = "there is no order, or too many", f"1 to {MOST_ORDERS} {ORDER}"
        raise BadInput.because("Bundle.entry", message, value=str(len(orders)), accepted=accepted, rule="orders")
    index = Index(one for one in resources if one.kind != ORDER)
    if index.most_about > MOST_ABOUT:
        message, accepted = "too many measures or allergies of one patient", f"at most {MOST_ABOUT}, the latest"
        raise BadInput.because("Bundle.entry", message, value=str(index.most_about), accepted=accepted, rule="entries")
    drafts = each_once([_draft(one, index, today=today, source=source) for one in orders])
    return Intake(form="fhir", drafts=_held(drafts), whole=True)


def _draft(order: Resource, beyond: Index, *, today: date, source: str) -> Draft:
    refusals: list[Refusal] = []
    notes: list[str] = []
    index = Index(_contained(order, refusals), beyond)
    element = Element(order.body, order.path, refusals, notes)
    for lost in (index.lost, beyond.lost):
        if lost:
            element.note(f"{lost[0].path}: names no patient who came along; left out ({len(lost)} such in all)")

    def find(reference: Element) -> Element | None:
        found = followed(reference, index)
        return None if found is None else Element(found.body, found.path, refusals, notes)

    def about(kind: str, patient: Element) -> list[Element]:
        return [Element(one.body, one.path, refusals, notes) for one in index.about(kind, patient.path)]

    return read_medication_request(element, Beside(find=find, about=about), source=source, today=today)


def _resources(value: object, refusals: list[Refusal]) -> list[Resource]:
    if not isinstance(value, dict) or value.get("resourceType") not in {ORDER, "Bundle"}:
        kind = value.get("resourceType") if isinstance(value, dict) else value
        accepted = f"{ORDER}, or a Bundle with at least one"
        message = "this resource is not taken here"
        raise BadInput.because("resourceType", message, value=shown(kind), accepted=accepted, rule="resource")
    if value["resourceType"] == ORDER:
        return [Resource(path=ORDER, address="", body=value)]
    bundle = Element(value, "Bundle", refusals, [])
    kind = bundle.text("type")
    if kind not in BUNDLES:
        accepted = f"one of {', '.join(BUNDLES)}"
        bundle.refuse("type", "a Bundle of this type is not taken", value=kind, accepted=accepted, rule="bundle")
    bundle.pass_over("identifier", "timestamp", "link")
    bundle.not_taken("total", because="a number of results belongs to a search")
    because = "a signature of the Bundle is not checked here, and stands for nobody's"
    bundle.not_taken("signature", because=because, accepted="an attestation by a pharmacist who saw the original")
    found = [_entry(one, kind or "", refusals) for one in bundle.children("entry")]
    bundle.close()
    return [one for one in found if one is not None]


def _entry(entry: Element, kind: str, refusals: list[Refusal]) -> Resource | None:
    address, body = entry.text("fullUrl") or "", entry.take("resource")
    asked = entry.child("request")
    entry.pass_over("link")
    entry.not_taken("search", "response", because="an order is no answer")
    entry.close()
    if asked is not None:
        method = asked.text("method")
        if method not in {"POST", "PUT"}:
            accepted = "POST"
            asked.refuse("method", "only new records are taken", value=method, accepted=accepted, rule="bundle")
        asked.not_taken("ifMatch", "ifNoneMatch", "ifModifiedSince", because="no version of this house is meant")
        asked.pass_over("url", "ifNoneExist")
        asked.close()
    elif kind in {"transaction", "batch"}:
        message = f"an entry of a {kind} says what is asked"
        entry.refuse("request", message, accepted="request with method POST", rule="missing")
    known = (ORDER, *READ, *ASIDE)
    if not isinstance(body, dict) or body.get("resourceType") not in known:
        kind_of = body.get("resourceType") if isinstance(body, dict) else body
        accepted = f"one of {', '.join(known)}"
        entry.refuse("resource", "this resource is not taken here", value=kind_of, accepted=accepted, rule="resource")
        return None
    return Resource(path=entry.place("resource"), address=address, body=body)


def _contained(order: Resource, refusals: list[Refusal]) -> list[Resource]:
    listed = order.body.get("contained", [])
    found = []
    for number, body in enumerate(listed if isinstance(listed, list) else [listed]):
        path = f"{order.path}.contained[{number}]"
        if isinstance(body, dict) and body.get("resourceType") in (*READ, *ASIDE):
            found.append(Resource(path=path, address=f"#{body.get('id')}", body=body))
        else:
            kind = body.get("resourceType") if isinstance(body, dict) else body
            accepted = f"one of {', '.join((*READ, *ASIDE))}"
            message = "this resource is not taken here"
            refusals.append(Refusal(field=path, message=message, value=shown(kind), accepted=accepted, rule="resource"))
    return found


def _held(drafts: tuple[Draft, ...]) -> tuple[Draft, ...]:
    """Hold every order where one is refused."""
    bad = next((one for one in drafts if one.refusals), None)
    return drafts if bad is None else tuple(one if one.refusals else hold(one, bad.reference) for one in drafts)


def hold(draft: Draft, other: str) -> Draft:
    """Return an order that could be taken as one that is not, because ``other`` of the same Bundle was refused."""
    refusal = Refusal(
        field=draft.places.get("", ORDER),
        message="nothing of this Bundle is taken while one of its orders is refused",
        value=other,
        accepted="the Bundle with every order mended",
        rule="whole",
    )
    return replace(draft, request=None, refusals=(refusal,))
