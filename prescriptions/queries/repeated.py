"""The order that another one repeats, looked up and held against it."""

from __future__ import annotations

from dosewright.ground.pure.errors import BadInput, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from prescriptions.intake.order_request import KnownPatient, OrderRequest, Repeat
from prescriptions.models import Order, PatientIdentifier
from prescriptions.queries.facts import current_version
from prescriptions.queries.regimen import record_of
from prescriptions.repeating import Repeated
from prescriptions.states import RETURNED, WAITING

UNSIGNED = frozenset({WAITING, RETURNED})
"""States of an order that nobody answers for now."""


def repeated_of(actor: Actor, request: OrderRequest, substance: str, *, source: str) -> Repeated | None:
    """Return the order that ``request`` repeats, as it holds now; None where it repeats none.

    A sender's reference is looked for among the orders of the same ``source``. Raises BadInput where there is
    no such order, it is the order itself, it waits, or it is of another patient or substance.
    """
    if request.repeats is None:
        return None
    order = _find(actor, request.repeats, source)
    place = "repeats.order" if request.repeats.order else "repeats.reference"
    version = current_version(order)
    is_itself = (order.source, order.reference) == (source, request.reference)
    faults = [
        _fault(place, "an order cannot repeat itself", "an earlier order") if is_itself else None,
        _fault(place, f"the order to repeat is {order.state}", "an order that was signed")
        if order.state in UNSIGNED
        else None,
        None if _is_for(actor, order, request) else _fault(place, "the order to repeat is of another patient"),
        None
        if version.substance.name == substance
        else _fault(place, "the order to repeat is of another substance", version.substance.name),
    ]
    refuse_if_any(BadInput, [one for one in faults if one is not None])
    return Repeated(order=order.code, version=version.number, digest=version.digest, record=record_of(version))


def _fault(place: str, message: str, accepted: str = "an order of the same patient and substance") -> Refusal:
    return Refusal(field=place, message=message, accepted=accepted, rule="repeats")


def _find(actor: Actor, repeats: Repeat, source: str) -> Order:
    here = Order.objects.select_related("patient").filter(site_id=actor.site_id)
    if repeats.order:
        found, place, value = here.filter(code=repeats.order).first(), "repeats.order", repeats.order
    else:
        found = here.filter(source=source, reference=repeats.reference).first()
        place, value = "repeats.reference", repeats.reference
    if found is None:
        raise BadInput.because(
            place,
            "there is no such order here to repeat",
            value=value,
            accepted="the code of an order, or the reference under which the same sender sent it",
            rule="repeats",
        )
    return found


def _is_for(actor: Actor, order: Order, request: OrderRequest) -> bool:
    patient = request.patient
    if isinstance(patient, KnownPatient):
        return order.patient.code == patient.code
    return PatientIdentifier.objects.filter(
        site_id=actor.site_id,
        patient=order.patient,
        system=patient.identifier.system,
        value=patient.identifier.value,
    ).exists()
