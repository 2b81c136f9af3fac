"""Background work that did not get done, for people to see: given up after faults, or waiting for too long."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from dosewright.ground.models import Work
from dosewright.ground.work import failed_by_faults

LATE = timedelta(minutes=10)


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftUndone:
    """How many pieces of work failed by a fault, and how many wait though they were due."""

    failed: int
    late: int


def left_undone(*, now: datetime, site_id: int | None = None) -> LeftUndone:
    """Count what is left undone at a site, or at all of them."""
    rows = Work.objects.filter(site_id=site_id) if site_id is not None else Work.objects.all()
    return LeftUndone(
        failed=failed_by_faults(rows).count(),
        late=rows.filter(state=Work.WAITING, due_at__lt=now - LATE).count(),
    )
