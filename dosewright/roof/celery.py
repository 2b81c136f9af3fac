"""Celery, for sites with a broker: its one task runs what the sweeper finds, by the same `work.run`."""

from __future__ import annotations

import os
from typing import Any

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "dosewright.roof.settings")
app = Celery("dosewright")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.set_default()


@app.task(name="dosewright.run", acks_late=True, reject_on_worker_lost=True)
def run(work_id: int, **_: Any) -> None:
    """Run one piece of work."""
    from dosewright.ground import work
    from dosewright.roof import clock

    work.run(work_id, clock=clock.now)


@app.task(name="dosewright.sweep")
def sweep(**_: Any) -> None:
    """Hand every piece of work that can be claimed to a worker."""
    from dosewright.ground import work
    from dosewright.roof import clock

    for work_id in work.sweep(clock=clock.now):
        run.delay(work_id)
