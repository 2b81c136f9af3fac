"""Who asks, and by which door: a browser session or an API token."""

from __future__ import annotations

from typing import Any

from knox.auth import TokenAuthentication
from rest_framework.authentication import SessionAuthentication
from rest_framework.request import Request

from dosewright.ground.people import actor_of
from dosewright.ground.pure.roles import Actor, Channel


class SessionDoor(SessionAuthentication):
    """A signed-in session; unsafe methods need the CSRF token."""

    def authenticate(self, request: Request) -> Any:
        found = super().authenticate(request)
        return None if found is None else (found[0], Channel.SESSION)


class TokenDoor(TokenAuthentication):
    """A hashed API token in the Authorization header; it never signs."""

    def authenticate(self, request: Request) -> Any:
        found = super().authenticate(request)
        return None if found is None else (found[0], Channel.TOKEN)


def actor_in(request: Request) -> Actor:
    """Return the actor of an authenticated API request."""
    channel = Channel.PRINTER if request.user.kind == "printer" else request.auth
    return actor_of(request.user, channel=channel)
