"""What stands against using a piece of equipment: its checks."""

from __future__ import annotations

from datetime import datetime

from dosewright.ground.pure.errors import Refusal
from printing.stock.models import Equipment


def equipment_blockers(row: Equipment, *, at: datetime) -> tuple[Refusal, ...]:
    """Return what stands against using a piece of equipment now, whatever for."""
    last = row.checks.order_by("pk").last()
    if last is None:
        return (against(row, "was never checked", "a check that passed"),)
    if not last.passed:
        return (against(row, "failed its last check", "a check that passed"),)
    if at.astimezone(row.site.zone).date() > last.due_on:
        return (against(row, f"was due on {last.due_on.isoformat()}", "a check that is in date"),)
    return ()


def against(row: Equipment, message: str, accepted: str) -> Refusal:
    """Return a refusal of a piece of equipment."""
    return Refusal(
        field="equipment", value=row.code, message=f"{row.name} {message}", accepted=accepted, rule="equipment"
    )
