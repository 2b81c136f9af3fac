"""What every request passes: the site's clock, the log, and refusals turned into answers."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

log = logging.getLogger("dosewright.request")
Get = Callable[[HttpRequest], HttpResponse]


class SiteClock:
    """Shows times in the zone of the signed-in person's site."""

    def __init__(self, get_response: Get) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        user = request.user
        if not user.is_authenticated:
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


class Refusals:
    """Turns a refusal that a page raises into a page that says what, where and what is accepted."""

    def __init__(self, get_response: Get) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        """Answer a `Refused`; leave all else to Django."""
        from dosewright.ground.pure.errors import Refused
        from dosewright.roof.pages.refusals import refusal_page

        return refusal_page(request, exception) if isinstance(exception, Refused) else None
