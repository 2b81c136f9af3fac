"""Entering an order, by whichever door, and putting a prescriber's or a pharmacist's name under it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from dosewright.ground.act import Act, act
from dosewright.ground.fresh import new_code
from dosewright.ground.models import Idempotency
from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.pure.errors import BadInput, Conflict, NotAllowed, Overtaken, Refusal
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find
from dosewright.ground.signing import Pen
from prescriptions.composing import ComposedOrder
from prescriptions.intake.order_json import order_request_as_json
from prescriptions.intake.order_request import OrderRequest
from prescriptions.models import Order
from prescriptions.queries.facts import current_version
from prescriptions.queries.naming import site_today
from prescriptions.queries.regimen import record_of
from prescriptions.services.taking import take_patient
from prescriptions.services.versions import (
    OrderAnswer,
    add_version,
    answer_of,
    compose_request,
    is_signed,
    no_prescriber,
    prescriber_party,
    received,
    sign_version,
)
from prescriptions.states import QUERIED, RECEIVED, WAITING

PRESCRIBED = "I prescribe this as written."

UNDER_CHECK = (RECEIVED, QUERIED)
"""States in which an amended version may still get its prescriber's signature."""


def enter_order(actor: Actor, *, request: OrderRequest, source: str, pen: Pen | None, at: datetime) -> OrderAnswer:
    """Keep an order, with its patient where they are new; prescribers, pharmacists and technicians.

    With the pen of the prescriber named it is signed at once under `order_shown` and received; without it
    waits to be signed or attested. The same `source` and reference with the same content returns the first
    answer; with other content it is a Conflict. Where ``ready_by`` is not given the order is due at opening
    time on its first day, or at its first dose where that is earlier. Raises BadInput, NotAllowed, Conflict.
    """
    try:
        return _entered(actor, request, source, pen, at)
    except Overtaken:
        # Two equal requests met: the other one is committed now, so that this one finds its answer.
        return _entered(actor, request, source, pen, at)


def order_shown(actor: Actor, request: OrderRequest, *, source: str, at: datetime) -> Mapping[str, Any]:
    """Return the record that a prescriber signs when entering `request`; nothing is kept."""
    return compose_request(actor, request, source=source, at=at).record


def order_record(actor: Actor, code: str) -> Mapping[str, Any]:
    """Return the record of an order's current version, which is what its prescriber signs."""
    return record_of(current_version(find(actor, Order, code)))


def sign_order(actor: Actor, code: str, *, pen: Pen, at: datetime) -> OrderAnswer:
    """Sign an order's current version; for the prescriber named in it alone.

    A waiting order is received by it; an amended version that was not signed yet gets its signature.
    Raises NotAllowed, NotThere, and Conflict where it is signed, stopped or not what was shown.
    """
    order = find(actor, Order, code)
    version = current_version(order)
    with act(actor, "order.sign", at=at, subject=code, parties={"prescriber": prescriber_party(version)}) as doing:
        order = Order.objects.select_for_update().get(pk=order.pk)
        version = current_version(order)
        doing.authorise({"prescriber": prescriber_party(version)})
        if is_signed(version):
            raise Conflict.because(code, "this version is signed", value=order.state, rule="signed")
        sign_version(doing, pen, version, shown=record_of(version), meaning=PRESCRIBED)
        if order.state not in UNDER_CHECK:
            doing.advance(order, "sign")
            received(doing, order)
    return answer_of(order)


def attest_order(actor: Actor, code: str, *, reference: str, seen_on: date, pen: Pen, at: datetime) -> OrderAnswer:
    """Attest a waiting order after seeing its original; a pharmacist who is not the prescriber.

    ``reference`` names the original, ``seen_on`` the day it was seen. Raises NotAllowed, NotThere,
    BadInput for a day in the future, Conflict where the order does not wait or is not what was shown.
    """
    order = find(actor, Order, code)
    version = current_version(order)
    with act(actor, "order.attest", at=at, subject=code, parties={"prescriber": prescriber_party(version)}) as doing:
        today = site_today(actor, at)
        if seen_on > today:
            raise BadInput.because(
                "seen_on",
                "the day is in the future",
                value=seen_on.isoformat(),
                accepted=f"up to {today.isoformat()}",
                rule="date",
            )
        if not 1 <= len(reference.strip()) <= 80:
            raise BadInput.because("reference", "names the original", accepted="1 to 80 characters", rule="text")
        meaning = f"I saw the original prescription {reference.strip()} on {seen_on.isoformat()}."
        doing.advance(order, "attest")
        sign_version(doing, pen, version, shown=record_of(version), meaning=meaning)
        received(doing, order)
    return answer_of(order)


def enter_within(doing: Act, code: str, *, request: OrderRequest, source: str, pen: Pen | None) -> OrderAnswer:
    """Keep an order under ``code`` within an action that is open; otherwise as `enter_order`.

    Raises BadInput, NotAllowed, Conflict, and IntegrityError where an equal request is kept at this moment.
    """
    actor, at = doing.actor, doing.at
    digest = digest_of(canonical_text(order_request_as_json(request)))
    before = _answered_before(doing, source, request.reference, digest)
    if before is not None:
        return before
    composed = compose_request(actor, request, source=source, at=at)
    Idempotency.objects.create(
        site_id=actor.site_id,
        source=source,
        reference=request.reference,
        request_digest=digest,
        answer=code,
        at=at,
    )
    order = _create(doing, code, request, composed, source)
    if pen is not None:
        _sign_at_once(doing, order, composed, pen)
    return answer_of(order)


def _entered(actor: Actor, request: OrderRequest, source: str, pen: Pen | None, at: datetime) -> OrderAnswer:
    code = new_code("order")
    with act(actor, "order.enter", at=at, subject=code) as doing:
        return enter_within(doing, code, request=request, source=source, pen=pen)


def _answered_before(doing: Act, source: str, reference: str, digest: str) -> OrderAnswer | None:
    row = Idempotency.objects.filter(site_id=doing.actor.site_id, source=source, reference=reference).first()
    if row is None:
        return None
    if row.request_digest != digest:
        raise Conflict(
            Refusal(
                field="reference",
                value=reference,
                message="this reference came before with another order",
                accepted="the same order again, or a reference of its own",
                rule="reference",
            )
        )
    doing.subject = row.answer
    doing.note(repeated=True)
    return answer_of(find(doing.actor, Order, row.answer), repeated=True)


def _create(doing: Act, code: str, request: OrderRequest, composed: ComposedOrder, source: str) -> Order:
    patient = take_patient(doing, request.patient)
    order = Order.objects.create(
        code=code,
        site_id=doing.actor.site_id,
        patient=patient,
        state=WAITING,
        source=source,
        reference=request.reference,
        received_at=doing.at,
        ready_by=composed.ready_by,
    )
    add_version(doing, order, 1, composed, request)
    return order


def _sign_at_once(doing: Act, order: Order, composed: ComposedOrder, pen: Pen) -> None:
    if composed.prescriber.user_id != doing.actor.user_id:
        raise NotAllowed(no_prescriber(composed.prescriber, doing.actor))
    version = current_version(order)
    sign_version(doing, pen, version, shown=composed.record, meaning=PRESCRIBED)
    doing.advance(order, "sign")
    received(doing, order)
