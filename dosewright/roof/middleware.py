"""What every request passes: who asks, the size of what they send, the site's clock, the log, refusals."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.functional import SimpleLazyObject

from dosewright.ground.act import record_refusal
from dosewright.ground.models import User
from dosewright.ground.pure.errors import BadInput, Refusal, Refused
from dosewright.ground.pure.roles import Actor
from dosewright.roof import clock

log = logging.getLogger("dosewright.request")
Get = Callable[[HttpRequest], HttpResponse]


class SignedIn:
    """Puts the person of the session at ``request.user``."""

    def __init__(self, get_response: Get) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        from dosewright.roof.api.sign_in import person_in

        request.user = SimpleLazyObject(lambda: person_in(request))  # type: ignore[assignment]
        return self.get_response(request)


MOST_DROPPED = 64_000_000
"""How much of a refused body is taken in and dropped, so that a client that reads only after it has sent everything
still gets the answer; beyond it the line is cut. Judgement, no source."""
STEP = 65_536


class BodySize:
    """Refuses a body that is too large, or does not say how large it is, before a byte of it is kept."""

    def __init__(self, get_response: Get) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> HttpResponse | None:
        """Answer 413 or 411 and, where a person acts, leave the audit row of the action they meant."""
        refusal = _unsized(request) or _oversized(request)
        if refusal is None:
            return None
        from dosewright.roof.faults import answer

        refused = BadInput(refusal)
        actor = _actor_behind(request)
        if actor is not None:
            door = getattr(getattr(view, "cls", None), "door", None) or getattr(view, "door", None)
            action = door.action if door else "request.refused"
            code = str(kwargs.get("code", ""))[:40]
            record_refusal(actor, action, refused, at=clock.now(), subject=code)
        if refusal.rule == "size":
            _drop_body(request)
        return answer(request, refused, status=411 if refusal.rule == "length" else 413)


def _unsized(request: HttpRequest) -> Refusal | None:
    if "chunked" not in request.META.get("HTTP_TRANSFER_ENCODING", "").lower():
        return None
    return Refusal(field="body", message="does not say how long it is", accepted="a Content-Length", rule="length")


def _oversized(request: HttpRequest) -> Refusal | None:
    from dosewright.roof.api.parsing import MOST_BYTES

    try:
        length = int(request.META.get("CONTENT_LENGTH") or 0)
    except ValueError:
        length = 0
    if length <= MOST_BYTES:
        return None
    return Refusal(
        field="body",
        message="is too large",
        value=str(length),
        limit=str(MOST_BYTES),
        unit="bytes",
        accepted=f"at most {MOST_BYTES} bytes",
        rule="size",
    )


def _drop_body(request: HttpRequest) -> None:
    for _ in range(MOST_DROPPED // STEP):
        if not request.read(STEP):
            return


def _actor_behind(request: HttpRequest) -> Actor | None:
    from dosewright.roof.api.authentication import actor_behind

    return actor_behind(request)


class SiteClock:
    """Shows times in the zone of the signed-in person's site."""

    def __init__(self, get_response: Get) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        user = request.user
        if not isinstance(user, User):
            return self.get_response(request)
        with timezone.override(user.site.zone):
            return self.get_response(request)


class RequestLog:
    """Logs method, path pattern, status and time of each request; never the query or the body."""

    def __init__(self, get_response: Get) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        start = time.monotonic()
        response = self.get_response(request)
        match = request.resolver_match
        log.info(
            "request",
            extra={
                "path": match.route if match else "unknown",
                "status": response.status_code,
                "seconds": round(time.monotonic() - start, 4),
            },
        )
        return response


class NoStore:
    """Tells browsers and proxies to keep no copy of what may show a patient; static files come before this."""

    def __init__(self, get_response: Get) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.headers.setdefault("Cache-Control", "no-store")
        return response


class Refusals:
    """Turns a refusal that a page raises into a page that says what, where and what is accepted."""

    def __init__(self, get_response: Get) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Answer a `Refused`; leave all else to Django."""
        from dosewright.roof.faults import answer

        return answer(request, exception) if isinstance(exception, Refused) else None
