"""What every act on a pack answers, and the guards that several of them share."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from dosewright.ground.act import record_refusal
from dosewright.ground.people import system_of
from dosewright.ground.pure.errors import BadInput, Blocked, Refusal, Refused, refuse_if_any
from dosewright.ground.pure.roles import Actor, authorise_role
from labels.models import Pack
from labels.queries import pack_row
from prescriptions.queries import order_facts
from prescriptions.services import screen_again
from prescriptions.states import VERIFIED

LEAST_REASON, MOST_REASON = 5, 200


@dataclass(frozen=True, slots=True, kw_only=True)
class PackAnswer:
    """A pack after an act; ``document`` is what the act made, if it made one."""

    code: str
    state: str
    version: int
    document: str = ""


def answer_of(pack: Pack, *, document: str = "") -> PackAnswer:
    """Return the answer about a pack."""
    return PackAnswer(code=pack.code, state=pack.state, version=pack.version, document=document)


def reason_of(text: str, *, field: str = "reason") -> str:
    """Return a reason without outer blanks; raises BadInput when it says nothing or too much."""
    tidy = text.strip()
    if not LEAST_REASON <= len(tidy) <= MOST_REASON:
        raise BadInput.because(
            field,
            "says why",
            value=f"{len(tidy)} characters",
            accepted=f"{LEAST_REASON} to {MOST_REASON} characters",
            rule="reason",
        )
    return tidy


def screened_pack(actor: Actor, action: str, code: str, *, occasion: str, at: datetime) -> Pack:
    """Screen a pack's order again by the system and return the pack, read afterwards.

    The actor's role is asked for first, so that nobody else sets off a screening; a refusal of that is recorded.
    """
    try:
        authorise_role(actor, action)
        pack = pack_row(actor, code)
    except Refused as refused:
        record_refusal(actor, action, refused, at=at, subject=code[:40])
        raise
    screen_again(system_of(actor.site_id), pack.order.code, occasion=occasion, at=at)
    return pack_row(actor, code)


def refuse_unverified(order_code: str, line_version: int) -> None:
    """Raise Blocked unless an order is verified now, in the version that the units were made for."""
    order = order_facts(order_code)
    found = []
    if order.state != VERIFIED:
        found.append(
            Refusal(
                field="order",
                value=order.state,
                message=f"order {order_code} is {order.state}",
                accepted="an order that a pharmacist verified",
                rule="order-not-verified",
            )
        )
    if order.version != line_version:
        found.append(
            Refusal(
                field="order",
                value=f"version {line_version}",
                limit=f"version {order.version}",
                message="the units were made for another version of the order",
                rule="order-version",
            )
        )
    refuse_if_any(Blocked, found)
