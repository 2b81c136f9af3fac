"""What every template knows: who is signed in, at which site, and where they may go."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from dosewright.ground.models import User
from dosewright.ground.people import actor_of
from dosewright.ground.pure.roles import READS, Actor, Channel
from dosewright.roof.api.registry import look_at, shows_page

GROUPS = (
    (_("Orders"), ("order", "patient", "substance")),
    (_("Making"), ("plan", "batch", "zone", "deviation", "resin-lot", "ingredient-lot", "tank-fill", "formulation")),
    (_("Giving out"), ("pack", "document")),
    (_("Site"), ("printer", "equipment", "person")),
    (_("Record"), ("audit",)),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """One place to go."""

    name: str
    title: Any
    address: str


def who_and_where(request: HttpRequest) -> dict[str, Any]:
    """Return the signed-in person, their site and the places they may go."""
    user = getattr(request, "user", None)
    if not isinstance(user, User):
        return {"person": None, "site": None, "places": []}
    actor = actor_of(user, channel=Channel.PAGE)
    return {"person": user, "site": user.site, "roles": sorted(actor.roles), "places": places_for(actor)}


def places_for(actor: Actor) -> list[tuple[Any, list[Place]]]:
    """Return the lists that the actor may see, in groups."""
    found = []
    for title, subjects in GROUPS:
        places = [_place(subject) for subject in subjects if _may(actor, subject)]
        if "audit" in subjects and actor.has(*READS["trace"]):
            places.append(Place(name="trace", title=_("Trace"), address="/trace"))
        if places:
            found.append((title, places))
    return found


def _may(actor: Actor, subject: str) -> bool:
    look = look_at(subject)
    return look is not None and shows_page(look) and actor.has(*READS[look.reads])


def _place(subject: str) -> Place:
    look = look_at(subject)
    return Place(name=subject, title=look.title if look else subject, address=f"/{subject}")
