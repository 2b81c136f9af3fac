"""One client of many: `python -m tests.bench.acting COUNT NAME FOLDER` acts COUNT times once the file `go` is there."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import django

django.setup()

from django.utils import timezone  # noqa: E402

from dosewright.ground.act import act  # noqa: E402
from dosewright.ground.models import Site, User  # noqa: E402
from dosewright.ground.people import actor_of  # noqa: E402
from dosewright.ground.pure.roles import Channel  # noqa: E402


def main(count: int, name: str, folder: Path) -> None:
    """Say that we are ready, wait, act, and tell when it began and ended."""
    site = Site.objects.order_by("pk").first()
    assert site is not None
    actor = actor_of(User.objects.get(site=site, kind=User.WORKER), channel=Channel.WORKER)
    (folder / f"ready-{name}").touch()
    while not (folder / "go").exists():
        time.sleep(0.005)
    begun = time.time()
    for number in range(count):
        with act(actor, "plan.make", at=timezone.now(), subject=f"{name}-{number}") as doing:
            doing.emit("bench", number=number)
    sys.stdout.write(f"{begun} {time.time()}")


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2], Path(sys.argv[3]))
