"""Who asks, and by which door: a browser session or an API token."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, QueryDict
from django.utils.datastructures import MultiValueDict
from knox.auth import TokenAuthentication
from rest_framework.authentication import SessionAuthentication
from rest_framework.exceptions import AuthenticationFailed, NotAuthenticated
from rest_framework.request import Request

from dosewright.ground.models import User
from dosewright.ground.people import actor_of
from dosewright.ground.pure.roles import Actor, Channel


class SessionDoor(SessionAuthentication):
    """A signed-in session; unsafe methods need the CSRF token."""

    def authenticate(self, request: Request) -> Any:
        found = super().authenticate(request)
        return None if found is None else (found[0], Channel.SESSION)

    def enforce_csrf(self, request: Request) -> None:
        """Take the CSRF token from the header alone: the body is read once it is known who sends it.

        Django would look for the token in a form, and so have the body parsed; what cannot be parsed would
        then be refused to nobody, without an audit row.
        """
        plain: Any = request._request
        if not hasattr(plain, "_post"):
            plain._post, plain._files = QueryDict(), MultiValueDict()
        super().enforce_csrf(plain)

    def authenticate_header(self, request: Request) -> str:
        """Name the scheme of the other door, so that nobody known is answered 401 and not 403."""
        return 'Bearer realm="dosewright"'


class TokenDoor(TokenAuthentication):
    """A hashed API token in the Authorization header; it never signs."""

    def authenticate(self, request: Request) -> Any:
        try:
            found = super().authenticate(request)
        except UnicodeDecodeError as error:
            raise AuthenticationFailed from error
        return None if found is None else (found[0], Channel.TOKEN)


def actor_in(request: Request) -> Actor:
    """Return the actor of an authenticated API request."""
    user = request.user
    if not isinstance(user, User) or not isinstance(request.auth, Channel):
        raise NotAuthenticated
    return actor_of(user, channel=Channel.PRINTER if user.kind == User.PRINTER else request.auth)


def actor_on_page(request: HttpRequest) -> Actor:
    """Return the actor of a page request of a signed-in person."""
    user = request.user
    if not isinstance(user, User):
        raise NotAuthenticated
    return actor_of(user, channel=Channel.PAGE)


def actor_behind(request: HttpRequest) -> Actor | None:
    """Return who asks, by session or token, before any view has looked; None when nobody known does."""
    if isinstance(request.user, User):
        return actor_of(request.user, channel=Channel.PAGE)
    try:
        found = TokenDoor().authenticate(Request(request))
    except AuthenticationFailed:
        return None
    return None if found is None else actor_of(found[0], channel=Channel.TOKEN)
