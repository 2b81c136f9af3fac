"""Signing in and out, with a pause after wrong passwords.

Wrong passwords are counted from the audit trail itself, so the count holds across processes and restarts and
is seen by the auditor. NIST SP 800-63B, section 5.2.2, asks for at most 100 failures in a row; five in
fifteen minutes is the house's choice. Whoever waits is told nothing that an unknown name is not told too. A
user name that exists can be made to wait by anybody who types wrong passwords for it: that is the price.
Sessions themselves leave no audit row (see the list of exempt records in the design); refusals do.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY, login
from django.contrib.auth.hashers import check_password, make_password
from django.http import HttpRequest
from django.utils.crypto import constant_time_compare
from django.utils.translation import gettext as _

from dosewright.ground.act import record_refusal
from dosewright.ground.models import AuditEntry, User
from dosewright.ground.people import actor_of
from dosewright.ground.pure.errors import NotAllowed, Refusal
from dosewright.ground.pure.roles import Channel

ACTION = "session.sign_in"
MOST_FAILURES = 5
PAUSE = timedelta(minutes=15)
BACKEND = "dosewright.roof.api.sign_in.People"


class Nobody:
    """Whoever asks without having signed in."""

    is_authenticated = False
    is_active = False
    pk = None


class People:
    """Django's authentication backend over our own people; permissions are the roles table's alone."""

    def authenticate(self, request: HttpRequest | None, **credentials: Any) -> User | None:
        """Refuse: signing in goes through `sign_in`, which counts."""
        return None

    def get_user(self, pk: int) -> User | None:
        """Return the active person of a session."""
        return User.objects.select_related("site").filter(pk=pk, is_active=True, kind=User.PERSON).first()


def person_in(request: HttpRequest) -> User | Nobody:
    """Return the person whom the session names, while their password is still the one they signed in with."""
    session = request.session
    if session.get(BACKEND_SESSION_KEY) != BACKEND:
        return Nobody()
    user = People().get_user(int(session.get(SESSION_KEY, 0)))
    if user is None or not constant_time_compare(session.get(HASH_SESSION_KEY, ""), user.get_session_auth_hash()):
        return Nobody()
    return user


def sign_in(request: HttpRequest, *, username: str, password: str, channel: Channel, at: datetime) -> User:
    """Start a session for a person; raises NotAllowed with one and the same message for every reason."""
    user = User.objects.select_related("site").filter(username=username, is_active=True, kind=User.PERSON).first()
    if user is None:
        make_password(password)  # an unknown name takes as long to refuse as a wrong password
        raise _no_entry()
    actor = actor_of(user, channel=channel)
    if failures(user, at=at) >= MOST_FAILURES:
        raise _no_entry()
    if not check_password(password, user.password):
        refused = _no_entry()
        record_refusal(actor, ACTION, refused, at=at, subject=user.code)
        raise refused
    login(request, user, backend=BACKEND)
    return user


def sign_out(request: HttpRequest) -> None:
    """End the session and forget all of it."""
    request.session.flush()
    request.user = Nobody()  # type: ignore[assignment]


def failures(user: User, *, at: datetime) -> int:
    """Return how many sign-ins of `user` were refused within the pause before `at`."""
    return AuditEntry.objects.filter(action=ACTION, actor=user, outcome=AuditEntry.REFUSED, at__gt=at - PAUSE).count()


def _no_entry() -> NotAllowed:
    return NotAllowed(
        Refusal(
            field="password",
            message=_("user name and password do not fit each other, or the account is waiting"),
            accepted=_("after five wrong passwords an account waits for fifteen minutes"),
            rule="sign-in",
        )
    )
