"""How the houses on the right move batches, zones and units: within their own action, by the tables of states."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import IntegrityError, transaction
from django.db.models import F

from dosewright.ground.act import Act
from dosewright.ground.pure.errors import Conflict, Refusal
from prescriptions.services.reserving import free_line
from printing.plates.models import PlacedUnit, PrintBatch, Zone
from printing.plates.queries import is_alive


def move_batch(doing: Act, batch: PrintBatch, event: str) -> None:
    """Fire `event` on a batch; raises Conflict, also when another batch is printing on the same printer."""
    try:
        with transaction.atomic():
            doing.advance(batch, event)
    except IntegrityError:
        raise Conflict(
            Refusal(
                field="printer",
                value=batch.printer.code,
                message="another batch is printing on it",
                accepted="a printer that stands still",
                rule="one running batch",
            )
        ) from None


def move_zone(doing: Act, zone: Zone, event: str) -> None:
    """Fire `event` on a zone; raises Conflict."""
    doing.advance(zone, event)


def move_units(doing: Act, units: Sequence[PlacedUnit], event: str) -> None:
    """Fire `event` on every unit or on none; raises Conflict."""
    doing.advance_all(units, event)


def let_lines_go(doing: Act, batch: PrintBatch) -> tuple[str, ...]:
    """Free every line of a batch of which nothing goes on under the plan that holds it; return their codes.

    Where a part of it goes on elsewhere, the plan keeps it, and only what it lacks is planned again.
    """
    here = Zone.objects.filter(batch=batch, line__committed_to=F("held_by")).exclude(held_by="")
    held = sorted(set(here.values_list("line__code", "held_by")))
    freed = [(code, plan) for code, plan in held if not is_alive(code, plan)]
    for code, plan in freed:
        free_line(doing, code, plan=plan)
    return tuple(code for code, _ in freed)
