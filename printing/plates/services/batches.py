"""A technician approves a planned batch, or a batch that has not started is cancelled."""

from __future__ import annotations

import json
from datetime import datetime

from dosewright.ground.act import act
from dosewright.ground.pure.errors import Blocked, Refusal
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find
from prescriptions.queries.facts import order_state
from prescriptions.services.reserving import free_line
from prescriptions.states import VERIFIED
from printing.plates.models import PlacedUnit, PrintBatch
from printing.plates.queries import orders_of_batch


def approve_batch(actor: Actor, code: str, *, at: datetime) -> int:
    """Approve a planned batch, so that its plate file is written; technicians. Returns its new version.

    Raises Blocked when an order on it is no longer verified, Conflict when it is not planned.
    """
    batch = find(actor, PrintBatch, code)
    with act(actor, "batch.approve", at=at, subject=code) as doing:
        refuse_unverified(batch)
        doing.advance(batch, "approve")
        doing.enqueue("deliver", key=f"deliver:{code}", batch=code)
    return batch.version


def cancel_batch(actor: Actor, code: str, *, reason: str, at: datetime) -> int:
    """Cancel a batch that has not started and let its lines go; technicians and pharmacists.

    Raises Conflict when it has started or ended.
    """
    batch = find(actor, PrintBatch, code)
    with act(actor, "batch.cancel", at=at, subject=code, reason=reason) as doing:
        doing.advance(batch, "cancel")
        doing.advance_all(list(PlacedUnit.objects.filter(zone__batch=batch).order_by("pk")), "drop")
        for line in sorted(_lines_only_here(batch)):
            free_line(doing, line, plan=batch.plan)
    return batch.version


def refuse_unverified(batch: PrintBatch) -> None:
    """Raise Blocked naming every order of a batch that is not verified now; read in the open transaction."""
    refusals = [
        Refusal(
            field=order,
            value=state,
            message="is no longer verified: cancel the batch and plan again",
            accepted=VERIFIED,
            rule="order state",
        )
        for order in orders_of_batch(batch.pk)
        if (state := order_state(order)) != VERIFIED
    ]
    if refusals:
        raise Blocked(*refusals)


def _lines_only_here(batch: PrintBatch) -> set[str]:
    """Return the lines of a batch no part of which stands on another batch of the plan that goes on."""
    plate = json.loads(batch.plan_text)
    mine = {zone["line"] for zone in plate["zones"] if zone["line"] is not None}
    others = PrintBatch.objects.filter(site_id=batch.site_id, plan=batch.plan).exclude(pk=batch.pk)
    for other in others.exclude(state="cancelled"):
        mine -= {zone["line"] for zone in json.loads(other.plan_text)["zones"]}
    return mine
