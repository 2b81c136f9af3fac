"""Reserving dose lines for a plan: called by printing inside its own action."""

from __future__ import annotations

from dosewright.ground.act import Act
from dosewright.ground.pure.errors import Conflict, Refusal
from dosewright.ground.scope import find
from prescriptions.models import DoseLine
from prescriptions.states import VERIFIED


def reserve_line(doing: Act, line_code: str, *, plan: str) -> None:
    """Reserve a line of a verified order's current version for `plan`; raises NotThere, Conflict."""
    line = find(doing.actor, DoseLine, line_code, path="order__site_id")
    order = line.order
    if order.state != VERIFIED or line.order_version.number != order.current:
        raise Conflict(
            Refusal(
                field=line_code,
                value=order.state,
                message=f"only lines of a verified order's current version are reserved; {order.code} is {order.state}",
                accepted="a line of a verified order",
                rule="not-verified",
            )
        )
    if line.committed_to:
        raise Conflict(
            Refusal(
                field=line_code,
                value=line.committed_to,
                message="the line is reserved by a plan",
                accepted="a line that no plan holds",
                rule="committed",
            )
        )
    doing.change(line, where={"committed_to": ""}, committed_to=plan)


def keep_line(doing: Act, line_code: str, *, plan: str) -> None:
    """Hold a line that `plan` has, so that no other action moves it meanwhile; raises NotThere, Conflict.

    For a reprint of what the line lacks: its reservation stays, its version goes on.
    """
    line = find(doing.actor, DoseLine, line_code, path="order__site_id")
    if line.order.state != VERIFIED or line.order_version.number != line.order.current or line.committed_to != plan:
        raise Conflict(
            Refusal(
                field=line_code,
                value=line.committed_to or "none",
                limit=plan,
                message="only a line of a verified order that the plan still holds is made again",
                accepted=f"a line that {plan} holds",
                rule="committed",
            )
        )
    doing.change(line, where={"committed_to": plan}, committed_to=plan)


def free_line(doing: Act, line_code: str, *, plan: str) -> None:
    """Let a line go that `plan` holds; raises NotThere, and Conflict where another plan holds it or none."""
    line = find(doing.actor, DoseLine, line_code, path="order__site_id")
    if line.committed_to != plan:
        raise Conflict(
            Refusal(
                field=line_code,
                value=line.committed_to or "none",
                message="this plan does not hold the line",
                accepted=f"a line that {plan} holds",
                rule="committed",
            )
        )
    doing.change(line, where={"committed_to": plan}, committed_to="")
