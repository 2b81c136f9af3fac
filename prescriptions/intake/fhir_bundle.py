"""FHIR R4 JSON at the door: one MedicationRequest, or a Bundle of them with whom and what they name.

A Bundle of type collection, transaction or batch is taken whole or not at all. (R4 lets the entries of a
batch stand each for itself; here one refused order holds them all, so that nobody has to find out which of
them came in. A transaction's references between entries are followed in any type.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Final

from dosewright.ground.pure.errors import BadInput, Refusal, refuse_if_any
from prescriptions.intake.drafts import UNSENT, Draft, Intake, each_once
from prescriptions.intake.fhir_elements import Element
from prescriptions.intake.fhir_request import Beside, read_medication_request
from prescriptions.intake.order_json import MOST_ORDERS
from prescriptions.intake.reading import shown

ORDER: Final = "MedicationRequest"
BUNDLES: Final = ("collection", "transaction", "batch")
READ: Final = ("Patient", "Practitioner", "PractitionerRole", "Medication", "Observation", "AllergyIntolerance")
ASIDE: Final = ("Organization", "Location", "Encounter", "Condition", "Coverage")
"""Resources that may come with an order and are not read: they do not change what is to be made."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Resource:
    """One resource of the text: where it stands, under which address others name it."""

    path: str
    address: str
    body: dict[str, Any]

    @property
    def kind(self) -> str:
        return str(self.body.get("resourceType"))

    @property
    def name(self) -> str:
        return f"{self.kind}/{self.body.get('id')}"


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
    drafts = each_once([_draft(one, resources, today=today, source=source) for one in orders])
    return Intake(form="fhir", drafts=_held(drafts), whole=True)


def _draft(order: _Resource, resources: Sequence[_Resource], *, today: date, source: str) -> Draft:
    refusals: list[Refusal] = []
    notes: list[str] = []
    contained = _contained(order, refusals)
    element = Element(order.body, order.path, refusals, notes)

    def find(reference: Element) -> Element | None:
        found = _followed(reference, [*contained, *resources])
        return None if found is None else Element(found.body, found.path, refusals, notes)

    def about(kind: str, patient: Element) -> list[Element]:
        every = [one for one in (*contained, *resources) if one.kind == kind]
        elements = [Element(one.body, one.path, refusals, notes) for one in every]
        return [one for one in elements if _is_about(one, patient.path, [*contained, *resources])]

    return read_medication_request(element, Beside(find=find, about=about), source=source, today=today)


def _is_about(element: Element, patient_path: str, resources: Sequence[_Resource]) -> bool:
    subject = element.child("subject") or element.child("patient")
    if subject is None:
        return False
    found = _followed(Element({**subject.value}, subject.path, [], []), resources)
    return found is not None and found.path == patient_path


def _resources(value: object, refusals: list[Refusal]) -> list[_Resource]:
    if not isinstance(value, dict) or value.get("resourceType") not in {ORDER, "Bundle"}:
        kind = value.get("resourceType") if isinstance(value, dict) else value
        accepted = f"{ORDER}, or a Bundle with at least one"
        message = "this resource is not taken here"
        raise BadInput.because("resourceType", message, value=shown(kind), accepted=accepted, rule="resource")
    if value["resourceType"] == ORDER:
        return [_Resource(path=ORDER, address="", body=value)]
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


def _entry(entry: Element, kind: str, refusals: list[Refusal]) -> _Resource | None:
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
    return _Resource(path=entry.place("resource"), address=address, body=body)


def _contained(order: _Resource, refusals: list[Refusal]) -> list[_Resource]:
    listed = order.body.get("contained", [])
    found = []
    for number, body in enumerate(listed if isinstance(listed, list) else [listed]):
        path = f"{order.path}.contained[{number}]"
        if isinstance(body, dict) and body.get("resourceType") in (*READ, *ASIDE):
            found.append(_Resource(path=path, address=f"#{body.get('id')}", body=body))
        else:
            kind = body.get("resourceType") if isinstance(body, dict) else body
            accepted = f"one of {', '.join((*READ, *ASIDE))}"
            message = "this resource is not taken here"
            refusals.append(Refusal(field=path, message=message, value=shown(kind), accepted=accepted, rule="resource"))
    return found


def _followed(reference: Element, resources: Sequence[_Resource]) -> _Resource | None:
    """Return the resource that a reference names; one that did not come along is refused."""
    named = reference.text("reference")
    reference.pass_over("type", "identifier", "display")
    reference.close()
    if named is None:
        accepted = "a reference to a resource that comes along"
        reference.refuse("reference", "nothing is referred to", accepted=accepted, rule="reference")
        return None
    found = [one for one in resources if _answers(one, named)]
    if len(found) != 1:
        message = "the resource did not come along" if not found else "more than one resource has this address"
        accepted = "a resource contained in the order, or an entry of the same Bundle"
        reference.refuse("reference", message, value=named, accepted=accepted, rule="reference")
        return None
    return found[0]


def _answers(one: _Resource, named: str) -> bool:
    if named.startswith("#") or one.address.startswith("#"):
        return one.address == named
    if one.address and one.address == named:
        return True
    relative = "/".join(named.split("/_history/", maxsplit=1)[0].rsplit("/", 2)[-2:])
    return "/" in named and not named.startswith("urn:") and one.name == relative and _same_server(one, named)


def _same_server(one: _Resource, named: str) -> bool:
    """Say whether an absolute address may mean this resource: its own address must not name another server."""
    if "://" not in named or "://" not in one.address:
        return True
    return one.address.split("/_history/")[0] == named.split("/_history/", maxsplit=1)[0]


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
