"""Many actions at once on one chain, as a program: `python -m tests.services.storm ACTIONS WORKER`."""

from __future__ import annotations

import sys

import django

django.setup()

from django.utils import timezone  # noqa: E402

from dosewright.ground.act import act  # noqa: E402
from dosewright.ground.models import Site, User  # noqa: E402
from dosewright.ground.people import actor_of  # noqa: E402
from dosewright.ground.pure.roles import Channel  # noqa: E402


def main(actions: int, worker: str) -> None:
    """Do `actions` actions that each leave work, a fact and an audit row."""
    site = Site.objects.order_by("pk").first()
    assert site is not None
    actor = actor_of(User.objects.get(site=site, kind=User.WORKER), channel=Channel.WORKER)
    for number in range(actions):
        with act(actor, "plan.make", at=timezone.now(), subject=f"{worker}-{number}") as doing:
            doing.enqueue("test storm", key=f"{worker}-{number}")
            doing.emit("test storm", number=number)


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2])
