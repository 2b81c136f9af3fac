"""Celery, for sites with a broker: its one task runs what the sweeper finds, as the embedded worker does."""

from __future__ import annotations

import os
from typing import Any

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "dosewright.roof.settings")
app = Celery("dosewright")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.set_default()


@app.task(name="dosewright.sweep", acks_late=True, reject_on_worker_lost=True)
def sweep(**_: Any) -> None:
    """Run every piece of work that can be claimed; workers who sweep at once share it by their claims."""
    from dosewright.ground import work
    from dosewright.roof import clock
    from dosewright.roof.working import run_and_log

    while found := work.sweep(clock=clock.now, most=10):
        done = [run_and_log(work_id) for work_id in found]
        if not any(done):
            return
