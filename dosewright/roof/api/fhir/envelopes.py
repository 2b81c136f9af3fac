"""What a FHIR R4 client is answered: OperationOutcome, and a Bundle with one response for each entry."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any, Final

from dosewright.ground.pure.errors import Refusal
from prescriptions.intake.drafts import Draft
from prescriptions.services import ImportedOrder

ISSUE_OF: Final = {
    "missing": "required",
    "role": "forbidden",
    "must differ": "forbidden",
    "size": "too-long",
    "too-long": "too-long",
    "reference": "not-found",
    "code": "not-found",
    "substance": "not-found",
    "fhir-shape": "structure",
    "fhir-element": "not-supported",
    "resource": "not-supported",
    "bundle": "not-supported",
}
"""Kinds of issue of R4's IssueType, by the rule that refused; any other is a rule of this house."""

ANSWER_OF: Final = {"transaction": "transaction-response", "collection": "transaction-response"}
"""A collection is answered like a transaction: it, too, is taken whole or not at all."""

ADDRESS: Final = "/api/v1/order/"
_ENTRY: Final = re.compile(r"Bundle\.entry\[(\d+)\]\.resource")


def refused_outcome(refusals: Sequence[Refusal]) -> dict[str, Any]:
    """Return an OperationOutcome with one error for each refusal."""
    return {"resourceType": "OperationOutcome", "issue": [_issue(one) for one in refusals]}


def taken_outcome(order: ImportedOrder) -> dict[str, Any]:
    """Return an OperationOutcome that tells under which code an order stands here, and what was read into it."""
    words = f"order {order.code}, {order.state}" + (", had come before" if order.repeated else "")
    said = [words, *order.notes]
    return {
        "resourceType": "OperationOutcome",
        "issue": [{"severity": "information", "code": "informational", "details": {"text": one}} for one in said],
    }


def response_bundle(
    asked: Mapping[str, Any], drafts: Sequence[Draft], orders: Sequence[ImportedOrder]
) -> dict[str, Any]:
    """Return the Bundle that answers ``asked``: a response for each of its entries, in their order."""
    made = {_entry_of(draft): order for draft, order in zip(drafts, orders, strict=True)}
    entries = range(len(asked["entry"]))
    return {
        "resourceType": "Bundle",
        "type": ANSWER_OF.get(asked["type"], "batch-response"),
        "entry": [{"response": _response(made.get(number))} for number in entries],
    }


def status_line(order: ImportedOrder) -> str:
    """Return the HTTP status of one order that was taken."""
    return "200 OK" if order.repeated else "201 Created"


def _response(order: ImportedOrder | None) -> dict[str, Any]:
    if order is None:
        words = "read with the orders that name it; kept with them alone"
        issue = {"severity": "information", "code": "informational", "details": {"text": words}}
        return {"status": "200 OK", "outcome": {"resourceType": "OperationOutcome", "issue": [issue]}}
    return {"status": status_line(order), "location": f"{ADDRESS}{order.code}", "outcome": taken_outcome(order)}


def _entry_of(draft: Draft) -> int:
    found = _ENTRY.match(draft.places.get("", ""))
    return int(found[1]) if found else 0


def _issue(refusal: Refusal) -> dict[str, Any]:
    parts = (("value", refusal.value), ("limit", refusal.limit), ("unit", refusal.unit), ("accepted", refusal.accepted))
    facts = "; ".join(f"{name}: {said}" for name, said in parts if said)
    issue: dict[str, Any] = {
        "severity": "error",
        "code": ISSUE_OF.get(refusal.rule, "business-rule"),
        "details": {"text": refusal.message},
        "expression": [refusal.field],
    }
    return issue | ({"diagnostics": facts} if facts else {})
