"""What happens to an order between being entered and being made: query, answer, return, amend, stop."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db.models import F

from dosewright.ground.act import Act, act
from dosewright.ground.pure.canonical import canonical_text
from dosewright.ground.pure.errors import BadInput, Conflict, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find
from dosewright.ground.signing import Pen
from prescriptions.composing import ComposedOrder
from prescriptions.intake.order_request import OrderRequest
from prescriptions.models import DoseLine, Order, OrderRemark, OrderVersion
from prescriptions.queries.facts import current_version
from prescriptions.queries.regimen import record_of
from prescriptions.services.ordering import PRESCRIBED
from prescriptions.services.rescreening import screen_orders_of
from prescriptions.services.taking import take_patient
from prescriptions.services.versions import (
    OrderAnswer,
    add_version,
    answer_of,
    compose_request,
    prescriber_party,
    received,
    remark,
    sign_version,
)


def query_order(actor: Actor, code: str, *, question: str, at: datetime) -> OrderAnswer:
    """Ask the prescriber about a received order; pharmacists. Raises NotAllowed, NotThere, Conflict."""
    order = find(actor, Order, code)
    with act(actor, "order.query", at=at, subject=code) as doing:
        doing.advance(order, "query")
        remark(doing, current_version(order), OrderRemark.QUERY, question)
    return answer_of(order)


def answer_order(actor: Actor, code: str, *, answer: str, at: datetime) -> OrderAnswer:
    """Answer a pharmacist's query; prescribers. Raises NotAllowed, NotThere, Conflict."""
    order = find(actor, Order, code)
    with act(actor, "order.answer", at=at, subject=code) as doing:
        doing.advance(order, "answer")
        remark(doing, current_version(order), OrderRemark.ANSWER, answer)
        received(doing, order)
    return answer_of(order)


def return_order(actor: Actor, code: str, *, reason: str, at: datetime) -> OrderAnswer:
    """Send an order back to its prescriber; pharmacists. Raises NotAllowed, NotThere, Conflict."""
    order = find(actor, Order, code)
    with act(actor, "order.return", at=at, subject=code, reason=reason[:200]) as doing:
        doing.advance(order, "return")
        remark(doing, current_version(order), OrderRemark.RETURN, reason, longest=200)
    return answer_of(order)


def stop_order(actor: Actor, code: str, *, reason: str, at: datetime) -> OrderAnswer:
    """Stop an order from any state; prescribers and pharmacists. Raises NotAllowed, NotThere, Conflict.

    Always taken: whatever is reserved or made of it is held by the houses that hear of it.
    """
    order = find(actor, Order, code)
    with act(actor, "order.stop", at=at, subject=code, reason=reason[:200]) as doing:
        doing.advance(order, "stop")
        remark(doing, current_version(order), OrderRemark.STOP, reason, longest=200)
        # A line that is being reserved at this moment is either seen by the fact's handlers or refused.
        DoseLine.objects.filter(order=order).update(version=F("version") + 1)
        doing.emit("order stopped", order=order.code)
        screen_orders_of(doing, order.patient, but=order.code)
    return answer_of(order)


def amend_shown(
    actor: Actor, code: str, request: OrderRequest, *, change_reason: str, at: datetime
) -> Mapping[str, Any]:
    """Return the record that a prescriber signs when amending with `request`; nothing is kept."""
    order = find(actor, Order, code)
    return _composed(actor, order, request, change_reason, at).record


def amend_order(
    actor: Actor, code: str, *, request: OrderRequest, change_reason: str, pen: Pen | None, at: datetime
) -> OrderAnswer:
    """Replace what an order says by a new version, which is screened and checked anew.

    For the prescriber named alone; patient, substance, source and reference stay. With a pen the new
    version is signed under `amend_shown`; without it is received unsigned and must be signed by `sign_order`
    before it can be verified. Raises NotAllowed, NotThere, BadInput, and Conflict where a line is reserved
    (stop the order and order anew) or the order cannot be amended.
    """
    return _replace(actor, code, "order.amend", "amend", request, change_reason, pen, at)


def resubmit_order(
    actor: Actor,
    code: str,
    *,
    request: OrderRequest | None = None,
    change_reason: str,
    pen: Pen | None = None,
    at: datetime,
) -> OrderAnswer:
    """Send a returned order in again, with a new version or as it stood; for the prescriber named alone.

    Without `request` the pen signs the current record again. Raises as `amend_order`.
    """
    if request is not None:
        return _replace(actor, code, "order.resubmit", "resubmit", request, change_reason, pen, at)
    order = find(actor, Order, code)
    version = current_version(order)
    parties = {"prescriber": prescriber_party(version)}
    with act(actor, "order.resubmit", at=at, subject=code, parties=parties, reason=change_reason[:200]) as doing:
        doing.advance(order, "resubmit")
        remark(doing, version, OrderRemark.AMEND, change_reason, longest=200)
        if pen is None:
            raise BadInput.because("password", "the prescriber signs again", accepted="password and shown_digest")
        sign_version(doing, pen, version, shown=record_of(version), meaning=PRESCRIBED)
        received(doing, order)
    return answer_of(order)


def _replace(
    actor: Actor,
    code: str,
    action: str,
    event: str,
    request: OrderRequest,
    change_reason: str,
    pen: Pen | None,
    at: datetime,
) -> OrderAnswer:
    order = find(actor, Order, code)
    parties = {"prescriber": prescriber_party(current_version(order))}
    with act(actor, action, at=at, subject=code, parties=parties, reason=change_reason[:200]) as doing:
        order = Order.objects.select_for_update().get(pk=order.pk)
        old = current_version(order)
        doing.authorise({"prescriber": prescriber_party(old)})
        composed = _composed(actor, order, request, change_reason, at)
        _check_same(doing, order, old, request, composed)
        if event == "amend":
            _must_differ(old, composed)
        doing.advance(order, event)
        remark(doing, old, OrderRemark.AMEND, change_reason, longest=200)
        _let_go(old)
        new = add_version(doing, order, old.number + 1, composed, request, change_reason=change_reason)
        doing.change(order, current=new.number, ready_by=composed.ready_by)
        if pen is not None:
            sign_version(doing, pen, new, shown=composed.record, meaning=PRESCRIBED)
        received(doing, order)
    return answer_of(order)


def _composed(actor: Actor, order: Order, request: OrderRequest, change_reason: str, at: datetime) -> ComposedOrder:
    amends = {"order": order.code, "version": order.current, "change_reason": change_reason}
    return compose_request(actor, request, source=order.source, at=at, amends=amends)


def _check_same(doing: Act, order: Order, old: OrderVersion, request: OrderRequest, composed: ComposedOrder) -> None:
    """An amended order is the same order: another patient, substance or prescriber is another order."""
    patient = take_patient(doing, request.patient)
    accepted = "the same as before; else stop this order and order anew"
    pairs = (
        ("patient", patient.pk == order.patient_id),
        ("substance", composed.record["substance"] == old.substance.name),
        ("reference", request.reference == order.reference),
        ("prescriber", composed.prescriber.user_id == old.prescriber_id),
    )
    refuse_if_any(
        BadInput,
        [
            Refusal(field=name, message="cannot be amended", accepted=accepted, rule="amend")
            for name, same in pairs
            if not same
        ],
    )


def _must_differ(old: OrderVersion, composed: ComposedOrder) -> None:
    """An amendment changes something: who got no answer and sends it again makes no second version."""
    before, after = ({**one, "amends": None} for one in (record_of(old), composed.record))
    if canonical_text(before) == canonical_text(after):
        raise Conflict(
            Refusal(
                field="order",
                value=f"version {old.number}",
                message="the order says this already",
                accepted="an order that differs from the current version",
                rule="no-change",
            )
        )


def _let_go(old: OrderVersion) -> None:
    """Close the old version's lines to any plan, by one conditional UPDATE; raises Conflict where one is held."""
    lines = DoseLine.objects.filter(order_version=old)
    free = lines.filter(committed_to="").update(version=F("version") + 1)
    if free != lines.count():
        held = ", ".join(lines.exclude(committed_to="").values_list("code", flat=True))
        raise Conflict(
            Refusal(
                field="lines",
                value=held,
                message="a dose line is reserved by a plan",
                accepted="stop this order and order anew",
                rule="committed",
            )
        )
