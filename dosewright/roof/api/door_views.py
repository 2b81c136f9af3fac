"""The methods of the view class that is made per door, so that each stands in the OpenAPI document as itself."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.exceptions import ParseError, UnsupportedMediaType
from rest_framework.request import Request
from rest_framework.response import Response

from dosewright.ground.act import record_refusal
from dosewright.ground.pure.errors import BadInput, NotThere, Refusal, Refused
from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import DOORS, Door, plain
from dosewright.roof import clock
from dosewright.roof.api.authentication import actor_in
from dosewright.roof.api.inputs import asked_by
from dosewright.roof.api.problems import problem
from dosewright.roof.api.rights import has_role, who_could
from dosewright.roof.api.schema import PROBLEMS, camel
from dosewright.roof.api.versions import IF_MATCH, check_version

Methods = dict[str, Callable[..., Response]]
CODE = OpenApiParameter("code", str, OpenApiParameter.PATH, description="The record's code.")


def take(door: type[Door], request: Request, code: str) -> Response:
    """Take a door with what was sent."""
    actor, at = actor_in(request), clock.now()
    raw = _sent(door, request, actor, code, at)
    check_version(request, door, actor, code, at=at)
    answer = door().take(actor, code, raw, at=at)
    return Response({} if answer is None else answer, status=201 if door.creates else 200)


def show(door: type[Door], request: Request, code: str) -> Response:
    """Say what a door asks, whether the actor may take it and, where it is signed, what is signed."""
    actor, at = actor_in(request), clock.now()
    facts: dict[str, Any] = {
        "action": door.action,
        "title": str(door.title),
        "hint": str(door.hint),
        "signed": door.rule().signed,
        "may": has_role(actor, door),
        "who": who_could(door.rule()),
        "fields": [plain(one) for one in asked_by(door)],
        "shown": None,
        "shown_digest": None,
        "refused": [],
    }
    if facts["may"] and door.rule().signed:
        facts |= _what_is_signed(door, actor, code, at)
    return Response(facts)


def _sent(door: type[Door], request: Request, actor: Actor, code: str, at: datetime) -> Any:
    try:
        return request.data
    except Refused as refused:
        record_refusal(actor, door.action, refused, at=at, subject=code[:40])
        raise
    except (UnsupportedMediaType, ParseError):
        unread = BadInput(Refusal(field="body", message="is no JSON", accepted="application/json", rule="media"))
        record_refusal(actor, door.action, unread, at=at, subject=code[:40])
        raise


def _what_is_signed(door: type[Door], actor: Actor, code: str, at: datetime) -> dict[str, Any]:
    try:
        return door().shown_with_digest(actor, code, at=at)
    except NotThere:
        raise
    except Refused as refused:
        return {"may": False, "refused": problem(refused)["refused"]}


def methods_of(door: type[Door]) -> Methods:
    """Return the methods of a door's view."""
    if door.creates:
        return {"post": _documented_post(door)(lambda self, request: take(door, request, ""))}
    return {
        "post": _documented_post(door)(lambda self, request, code: take(door, request, code)),
        "get": _documented_get(door)(lambda self, request, code: show(door, request, code)),
    }


def operation_of(door: type[Door]) -> str:
    """Return the name of a door in the OpenAPI document: its action, or its place where two doors share an action."""
    shared = sum(one.action == door.action for one in DOORS.values()) > 1
    name = f"{door.subject}.{door.verb or 'create'}" if shared else door.action
    return name.replace(".", "_").replace("-", "_")


def _documented_post(door: type[Door]) -> Callable[[Any], Any]:
    named = type(f"{camel(operation_of(door))}Input", (door.Input,), {})
    return extend_schema(
        operation_id=operation_of(door),
        summary=str(door.title),
        description=_described(door),
        tags=[door.subject],
        request=named if door.Input().fields else None,
        responses={(201 if door.creates else 200): OpenApiTypes.OBJECT, **PROBLEMS},
        parameters=[] if door.creates else [CODE, IF_MATCH],
    )


def _documented_get(door: type[Door]) -> Callable[[Any], Any]:
    return extend_schema(
        operation_id=f"{operation_of(door)}_shown",
        summary=f"What is asked and shown: {door.title}",
        tags=[door.subject],
        responses={200: OpenApiTypes.OBJECT, **PROBLEMS},
        parameters=[CODE],
    )


def _described(door: type[Door]) -> str:
    signed = " Signed: send the digest of what GET shows, and the password." if door.rule().signed else ""
    return f"{door.hint} For {who_could(door.rule())}.{signed}".strip()
