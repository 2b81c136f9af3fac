"""The one error shape of the API: problem details (RFC 9457) with the list of refusals."""

from __future__ import annotations

from typing import Any

from rest_framework import exceptions
from rest_framework.response import Response

from dosewright.ground.pure.errors import (
    BadInput,
    Blocked,
    Conflict,
    NotAllowed,
    NotThere,
    Refused,
    SetupMissing,
)

STATUS: dict[type[Refused], int] = {
    BadInput: 422,
    NotAllowed: 403,
    NotThere: 404,
    Conflict: 409,
    Blocked: 409,
    SetupMissing: 503,
}
TITLES = {
    "bad-input": "The input cannot be taken",
    "not-allowed": "You may not do this",
    "not-there": "No such record",
    "conflict": "The record is in another state or version",
    "stale": "The record is in another version",
    "blocked": "Something stands in the way",
    "set-up-missing": "The installation lacks something",
    "refused": "Refused",
}


def status_of(refused: Refused) -> int:
    """Return the HTTP status of a refusal."""
    if refused.slug == "stale":
        return 412
    for kind in type(refused).__mro__:
        if kind in STATUS:
            return STATUS[kind]
    return 422


def problem(refused: Refused) -> dict[str, Any]:
    """Return the problem document of a refusal."""
    return {
        "type": f"urn:dosewright:problem:{refused.slug}",
        "title": TITLES.get(refused.slug, TITLES["refused"]),
        "status": status_of(refused),
        "detail": str(refused),
        "refused": [one.as_dict() for one in refused.refusals],
    }


def as_problem(exception: Exception, context: Any) -> Response | None:
    """Answer any expected exception as problem details; anything else is a real fault and is raised."""
    if isinstance(exception, Refused):
        return Response(problem(exception), status=status_of(exception))
    if isinstance(exception, exceptions.APIException):
        return _framework_problem(exception)
    return None


def _framework_problem(exception: exceptions.APIException) -> Response:
    status = exception.status_code
    slug = {401: "who-are-you", 403: "not-allowed", 404: "not-there", 405: "method", 415: "media-type"}.get(
        status, "refused"
    )
    body = {
        "type": f"urn:dosewright:problem:{slug}",
        "title": str(exception.default_detail),
        "status": status,
        "detail": str(exception.detail),
        "refused": [],
    }
    response = Response(body, status=status)
    header = getattr(exception, "auth_header", None)
    if header:
        response["WWW-Authenticate"] = header
    return response
