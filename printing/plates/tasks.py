"""Background work and facts of this app."""

from __future__ import annotations

from dosewright.ground.outbox import on
from dosewright.ground.work import Job, handles
from printing.plates import services


@handles("plan")
def plan(job: Job) -> None:
    """Make the plan that was asked for."""
    services.make_the_plan(job)


@handles("deliver")
def deliver(job: Job) -> None:
    """Write the plate file of an approved batch."""
    services.deliver(job)


@on("order received")
def size_provisionally(job: Job) -> None:
    """Run the screen "making" on an order that was received."""
    services.screen_making(job)


@on("order stopped")
def cancel_what_was_stopped(job: Job) -> None:
    """Cancel batches of an order that was stopped before they started."""
    services.cancel_stopped(job)
