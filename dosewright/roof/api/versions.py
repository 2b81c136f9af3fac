"""ETag and If-Match: a client acts on the version it has seen, or not at all (RFC 9110, section 13.1.1)."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request

from dosewright.ground.act import record_refusal
from dosewright.ground.pure.errors import BadInput, Conflict, Refusal
from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door
from dosewright.roof.api.registry import look_at

IF_MATCH = OpenApiParameter(
    "If-Match", str, OpenApiParameter.HEADER, description="The ETag that the record was read with."
)


class Stale(Conflict):
    """The record is not in the version that the request was made for."""

    slug = "stale"


def etag_of(record: Any) -> str | None:
    """Return the entity tag of a record that has a version."""
    version = getattr(record, "version", None)
    return None if version is None else f'"{version}"'


def check_version(request: Request, door: type[Door], actor: Actor, code: str, *, at: datetime) -> None:
    """Raise Stale when If-Match names another version than the record has now.

    The service's own conditional UPDATE guards what happens between this and its transaction.
    """
    wanted = request.headers.get("If-Match")
    look = look_at(door.subject)
    if wanted is None or wanted.strip() == "*":
        return
    if door.creates or look is None:
        raise BadInput.because("If-Match", "has no meaning here", value=wanted[:40], accepted="leave it out")
    now = etag_of(look().one(actor, code, at=at))
    if now not in {one.strip() for one in wanted.split(",")}:
        stale = Stale(
            Refusal(
                field="If-Match",
                value=wanted[:40],
                limit=now,
                message="the record is in another version",
                accepted="read it again and repeat",
                rule="version",
            )
        )
        record_refusal(actor, door.action, stale, at=at, subject=code[:40])
        raise stale
