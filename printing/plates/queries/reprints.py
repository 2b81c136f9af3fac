"""Which parts of a line must be made anew: their zone failed or their batch ended, and other parts go on."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import F, Q, QuerySet

from prescriptions.queries.facts import LineToPlan, order_facts
from prescriptions.states import VERIFIED
from printing.plates.models import SizedLine, Zone
from printing.plates.states import DEAD_BATCHES, DEAD_ZONES


@dataclass(frozen=True, slots=True, kw_only=True)
class PartToReprint:
    """The units that a committed line lacks, the plan that holds it, and the zones that came to nothing."""

    line: LineToPlan
    plan: str
    units: int
    units_per_dose: int
    instead_of: tuple[str, ...]


def parts_to_reprint(site_id: int) -> tuple[PartToReprint, ...]:
    """Return what lines of verified orders lack although a plan holds them, by line code.

    A line of which nothing is left is held by no plan and planned as a whole.
    """
    dead = _dead(Zone.objects.filter(batch__site_id=site_id, line__committed_to=F("held_by")).exclude(held_by=""))
    codes = sorted(set(dead.values_list("line__code", "line__order__code")))
    found = (_lacking(line, order) for line, order in codes)
    return tuple(part for part in found if part is not None)


def lacking_units(line: str, plan: str) -> int:
    """Return how many units a line lacks that `plan` holds, read now."""
    zones = Zone.objects.filter(line__code=line, held_by=plan)
    first = SizedLine.objects.filter(line__code=line, plan=plan).select_related("line").first()
    if first is None:
        return 0
    alive = zones.exclude(batch__state__in=DEAD_BATCHES).exclude(state__in=DEAD_ZONES)
    return first.line.administrations * first.units_per_dose - sum(alive.values_list("wanted", flat=True))


def is_alive(line: str, plan: str) -> bool:
    """Tell whether anything of a line goes on that was made under the reservation of `plan`."""
    zones = Zone.objects.filter(line__code=line, held_by=plan)
    return zones.exclude(batch__state__in=DEAD_BATCHES).exclude(state__in=DEAD_ZONES).exists()


def _lacking(line_code: str, order_code: str) -> PartToReprint | None:
    order = order_facts(order_code)
    line = next((one for one in order.lines if one.code == line_code), None)
    if order.state != VERIFIED or line is None:
        return None
    plan = line.committed_to
    units = lacking_units(line_code, plan)
    if units <= 0 or not is_alive(line_code, plan):
        return None
    sized = SizedLine.objects.get(line__code=line_code, plan=plan)
    dead = _dead(Zone.objects.filter(line__code=line_code, held_by=plan)).order_by("pk")
    return PartToReprint(
        line=LineToPlan(order=order, line=line),
        plan=plan,
        units=units,
        units_per_dose=sized.units_per_dose,
        instead_of=tuple(dead.values_list("code", flat=True)),
    )


def _dead(zones: QuerySet[Zone]) -> QuerySet[Zone]:
    return zones.filter(Q(batch__state__in=DEAD_BATCHES) | Q(state__in=DEAD_ZONES))
