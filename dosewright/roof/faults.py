"""What is answered when a request does not reach a view, or a view fails: a problem document or a page."""

from __future__ import annotations

import json
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _

from dosewright.ground.pure.errors import Refused
from dosewright.roof.api.problems import problem


def answer(request: HttpRequest, refused: Refused, *, status: int | None = None) -> HttpResponse:
    """Answer a refusal as problem details under /api/, as a page elsewhere."""
    document = problem(refused)
    if status is not None:
        document["status"] = status
    return _as_asked(request, document)


def bad_request(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """Answer 400: a request that is malformed below anything we read ourselves."""
    return _plain(request, 400, "bad-request", _("The request is malformed"))


def forbidden(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """Answer 403."""
    return _plain(request, 403, "not-allowed", _("You may not do this"))


def csrf_failed(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Answer a form that did not come from this site's own page, or came too late."""
    return _plain(
        request,
        403,
        "csrf",
        _("The form is too old or did not come from this site"),
        _("Open the page again and repeat. Nothing was done."),
    )


def not_found(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    """Answer 404."""
    return _plain(request, 404, "not-there", _("There is nothing at this address"))


def server_error(request: HttpRequest) -> HttpResponse:
    """Answer 500 without telling what went wrong: the log has it."""
    title = _("Something went wrong on our side")
    detail = _("What you sent may not have been done. Look at the record before you repeat it.")
    if is_api(request):
        return _json(_document(500, "fault", title, detail))
    return render(request, "fault.html", {"title": title, "detail": detail}, status=500)


def is_api(request: HttpRequest) -> bool:
    """Tell whether a program asks."""
    return request.path_info.startswith("/api/")


def _plain(request: HttpRequest, status: int, slug: str, title: str, detail: str = "") -> HttpResponse:
    return _as_asked(request, _document(status, slug, title, detail))


def _document(status: int, slug: str, title: str, detail: str) -> dict[str, Any]:
    kind = f"urn:dosewright:problem:{slug}"
    return {"type": kind, "title": title, "status": status, "detail": detail or title, "refused": []}


def _as_asked(request: HttpRequest, document: dict[str, Any]) -> HttpResponse:
    if is_api(request):
        return _json(document)
    return render(request, "refused.html", {"problem": document}, status=document["status"])


def _json(document: dict[str, Any]) -> HttpResponse:
    body = json.dumps(document, ensure_ascii=False)
    return HttpResponse(body, status=document["status"], content_type="application/problem+json")
