"""A technician approves a planned batch, or a batch that has not started is cancelled."""

from __future__ import annotations

import contextlib
from datetime import datetime

from dosewright.ground.act import act
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, Refusal
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find
from dosewright.ground.work import Job
from prescriptions.queries.facts import order_state
from prescriptions.states import VERIFIED
from printing.plates.models import PlacedUnit, PrintBatch
from printing.plates.queries import orders_of_batch
from printing.plates.services.moving import let_lines_go, move_batch, move_units

NOT_STARTED = ("planned", "queued", "ready")


def approve_batch(actor: Actor, code: str, *, at: datetime) -> int:
    """Approve a planned batch, so that its plate file is written; technicians. Returns its new version.

    Raises Blocked when an order on it is no longer verified, Conflict when it is not planned.
    """
    batch = find(actor, PrintBatch, code)
    with act(actor, "batch.approve", at=at, subject=code) as doing:
        refuse_unverified(batch)
        move_batch(doing, batch, "approve")
        doing.enqueue("deliver", key=f"deliver:{code}", batch=code)
    return batch.version


def cancel_batch(actor: Actor, code: str, *, reason: str, at: datetime) -> int:
    """Cancel a batch that has not started and let its lines go; technicians, pharmacists, and SYSTEM after a stop.

    Raises BadInput without a reason, Conflict when it has started or ended.
    """
    batch = find(actor, PrintBatch, code)
    with act(actor, "batch.cancel", at=at, subject=code, reason=reason[:200]) as doing:
        if not reason.strip():
            raise BadInput.because("reason", "this needs a reason", accepted="one sentence")
        move_batch(doing, batch, "cancel")
        move_units(doing, list(PlacedUnit.objects.filter(zone__batch=batch).order_by("pk")), "drop")
        doing.note(freed=let_lines_go(doing, batch))
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


def cancel_stopped(job: Job) -> None:
    """Cancel every batch that has not started and holds units of an order that was stopped; for workers.

    A batch that has started goes on, for other orders are on it: release and supply read the order's state.
    """
    order = job.payload["order"]
    waiting = PrintBatch.objects.filter(site_id=job.site_id, state__in=NOT_STARTED, zones__line__order__code=order)
    for code in sorted(set(waiting.values_list("code", flat=True))):
        with contextlib.suppress(Conflict):  # it started, or a person was quicker
            cancel_batch(job.system, code, reason=f"order {order} was stopped", at=job.clock())
