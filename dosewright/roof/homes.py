"""The home that a command works on: its site, its people, and whether it is set up at all."""

from __future__ import annotations

from django.db import DatabaseError

from dosewright.ground.models import Site, User
from dosewright.ground.people import actor_named
from dosewright.ground.pure.errors import Refusal, SetupMissing
from dosewright.ground.pure.roles import Actor, Channel, Role


def the_site() -> Site:
    """Return the home's site, the first one where there are several; raises SetupMissing."""
    try:
        site = Site.objects.order_by("pk").first()
    except DatabaseError:
        site = None
    if site is None:
        raise SetupMissing(
            Refusal(
                field="home",
                message="this home holds no site yet",
                accepted="a home made by `python3 manage.py demo` or `python3 manage.py seed`",
                rule="set-up",
            )
        )
    return site


def acting(username: str) -> Actor:
    """Return the person who acts by a command; raises NotThere, SetupMissing."""
    the_site()
    return actor_named(username, channel=Channel.COMMAND)


def first_auditor() -> str:
    """Return the user name of the site's first auditor, for commands that only look; raises SetupMissing."""
    found = User.objects.filter(
        site=the_site(), is_active=True, grants__role=Role.AUDITOR.value, grants__revoked_at=None
    ).order_by("pk")
    user = found.first()
    if user is None:
        raise SetupMissing(
            Refusal(field="--as", message="the site has no auditor", accepted="--as USER", rule="set-up")
        )
    return user.username
