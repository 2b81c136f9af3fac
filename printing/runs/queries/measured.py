"""Reading measured values: of each the latest, for a correction is a new row that names the old one."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from printing.runs.models import Measurement

NG_PER_MG = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What was measured of one unit, as it stands after corrections."""

    mass_ng: int | None = None
    content_ng: int | None = None
    content_how: str = ""
    appearance: str = ""


def standing(zone_ids: Iterable[int], kind: str) -> list[Measurement]:
    """Return the rows of a kind that no later row corrects, in the order in which they were kept."""
    rows = Measurement.objects.filter(zone_id__in=list(zone_ids), kind=kind, corrected_by=None)
    return list(rows.select_related("unit", "zone").order_by("pk"))


def measured_units(zone_ids: Iterable[int]) -> dict[int, Measured]:
    """Return what was measured of each unit of some zones, by the unit's row."""
    rows = Measurement.objects.filter(zone_id__in=list(zone_ids), unit__isnull=False, corrected_by=None)
    values: dict[int, dict[str, Measurement]] = {}
    for row in rows.order_by("pk"):
        if row.unit_id is not None:
            values.setdefault(row.unit_id, {})[row.kind] = row
    return {unit: _measured(found) for unit, found in values.items()}


def counts_of(zone_id: int) -> tuple[int, ...]:
    """Return every standing count of a zone, the first one first: on the raft, then broken off."""
    return tuple(int(row.value_text) for row in standing([zone_id], "count"))


def mg(value_ng: int) -> Decimal:
    """Return whole nanograms as exact milligrams."""
    return Decimal(value_ng) / NG_PER_MG


def _measured(found: dict[str, Measurement]) -> Measured:
    mass, content, seen = (found.get(kind) for kind in ("mass", "content", "appearance"))
    return Measured(
        mass_ng=mass.value_ng if mass else None,
        content_ng=content.value_ng if content else None,
        content_how=content.how if content else "",
        appearance=seen.value_text if seen else "",
    )
