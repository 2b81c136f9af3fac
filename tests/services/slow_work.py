"""A kind of work that says when it is between claim and commit, run by the real worker of either stack.

`python -m tests.services.slow_work work` is the embedded worker, `... celery` a Celery worker, `... leave KEY`
leaves one piece of work, `... count` prints how often its effect stands in the audit trail.
"""

from __future__ import annotations

import os
import sys
import time
from datetime import timedelta
from pathlib import Path

import django

django.setup()

from django.conf import settings  # noqa: E402
from django.core.management import call_command  # noqa: E402
from django.utils import timezone  # noqa: E402

from dosewright.ground import work  # noqa: E402
from dosewright.ground.act import act  # noqa: E402
from dosewright.ground.models import AuditEntry, Work  # noqa: E402
from tests.ground.small_site import small_site  # noqa: E402

work.LEASE = timedelta(seconds=3)


@work.handles("test slow")
def slow(job: work.Job) -> None:
    """Leave a mark, wait as long as a file tells, then write the effect."""
    home = Path(settings.DOSEWRIGHT_HOME)
    (home / f"claimed-{os.getpid()}").touch()
    while (home / "hold").exists():
        time.sleep(0.05)
    with job.finishing("plan.make", subject="effect"):
        pass


@work.handles("test storm")
def storm(job: work.Job) -> None:
    """Close what the storm left."""
    job.finish()


def main(verb: str, *rest: str) -> None:
    """Do what the module's text says."""
    if verb == "work":
        call_command("work")
    elif verb == "celery":
        from dosewright.roof.celery import app

        app.worker_main(
            [
                "worker",
                "--beat",
                "--schedule",
                str(settings.DOSEWRIGHT_HOME / "beat"),
                "--concurrency",
                "1",
                "--pool",
                "solo",
                "--loglevel",
                "ERROR",
            ]
        )
    elif verb == "leave":
        house = small_site(rest[0])
        with act(house.worker, "plan.make", at=timezone.now(), subject="leave") as doing:
            doing.enqueue("test slow", key=rest[0])
    elif verb == "count":
        effects = AuditEntry.objects.filter(action="plan.make", subject="effect").count()
        done = Work.objects.filter(kind="test slow", state=Work.DONE).count()
        attempts = sum(Work.objects.filter(kind="test slow").values_list("attempts", flat=True))
        sys.stdout.write(f"{effects} {done} {attempts}")


if __name__ == "__main__":
    main(*sys.argv[1:])
