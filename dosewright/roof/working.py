"""Runs one piece of work for either worker; a worker outlives any handler, and the row keeps the failure."""

from __future__ import annotations

import logging

from dosewright.ground import work
from dosewright.roof import clock

log = logging.getLogger("dosewright.work")


def run_and_log(work_id: int) -> bool:
    """Run one piece of work and return whether it was ours and ended done; a fault is logged, never raised."""
    try:
        return work.run(work_id, clock=clock.now)
    except Exception:
        log.exception("work failed", extra={"work": work_id})
        return False
