"""How the houses on the right move batches, zones and units: within their own action, by the tables of states."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import IntegrityError, transaction

from dosewright.ground.act import Act
from dosewright.ground.pure.errors import Conflict, Refusal
from prescriptions.services.reserving import free_line
from printing.plates.models import PlacedUnit, PrintBatch, Zone

DEAD_BATCHES = ("cancelled", "faulted")
DEAD_ZONES = ("failed",)


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
    """Free every line of a batch of which nothing is left on any batch of the plan; return their codes.

    A line is freed once: where a part of it goes on elsewhere, the plan keeps it.
    """
    here = Zone.objects.filter(batch=batch, line__isnull=False, line__committed_to=batch.plan)
    codes = sorted(set(here.values_list("line__code", flat=True)))
    freed = tuple(code for code in codes if not _is_alive(code, batch.plan))
    for code in freed:
        free_line(doing, code, plan=batch.plan)
    return freed


def _is_alive(line: str, plan: str) -> bool:
    zones = Zone.objects.filter(line__code=line, batch__plan=plan)
    return zones.exclude(batch__state__in=DEAD_BATCHES).exclude(state__in=DEAD_ZONES).exists()
