"""Background work of this app: the screen "patient" over orders that came in or whose patient changed."""

from __future__ import annotations

from dosewright.ground.outbox import on
from dosewright.ground.work import Job, handles
from prescriptions.services import screen_received


@on("order received")
def screen_order_received(job: Job) -> None:
    """Screen the order that a fact names."""
    screen_received(job)


@handles("screen order")
def screen_order(job: Job) -> None:
    """Screen an active order again."""
    screen_received(job)
