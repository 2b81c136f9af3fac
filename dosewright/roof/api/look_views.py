"""The methods of the views that are made per look: one record by its code, and keyset pages of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from dosewright.ground.pure.errors import BadInput, Refusal
from dosewright.ground.pure.roles import READS
from dosewright.ground.rest import Look
from dosewright.roof import clock
from dosewright.roof.api.authentication import actor_in
from dosewright.roof.api.door_views import CODE, Methods
from dosewright.roof.api.schema import PROBLEMS
from dosewright.roof.api.versions import etag_of

MOST = 200
USUAL = 50
"""Most and usual records of one page: judgement, no source."""


def page_answer(look: type[Look], request: Request) -> Response:
    """Answer a page of records after a key."""
    asked = page_asked(request.query_params, look)
    page = look().page(actor_in(request), at=clock.now(), **asked)
    return Response({"items": page.items, "next_after": page.next_after})


def one_answer(look: type[Look], request: Request, code: str) -> Response:
    """Answer one record, with its version as entity tag."""
    record = look().one(actor_in(request), code, at=clock.now())
    tag = etag_of(record)
    return Response(record, headers={"ETag": tag} if tag else None)


def page_asked(query: Mapping[str, Any], look: type[Look]) -> dict[str, Any]:
    """Return after, limit and filters as a query string names them; raises BadInput for anything else."""
    known = {"after", "limit", *look.filters}
    refusals = [
        Refusal(field=name[:40], message="is not known here", accepted=", ".join(sorted(known)), rule="name")
        for name in query
        if name not in known
    ]
    text = str(query.get("limit", USUAL))
    if not text.isascii() or not text.isdigit() or not 1 <= int(text[:9]) <= MOST:
        accepted = f"1 to {MOST}"
        refusals.append(Refusal(field="limit", message="is no page size", value=text[:20], accepted=accepted))
    if refusals:
        raise BadInput(*refusals)
    filters = {name: str(query[name]) for name in look.filters if query.get(name)}
    return {"after": str(query.get("after", "")), "limit": int(text), "filters": filters}


def list_methods(look: type[Look]) -> Methods:
    """Return the methods of the view of a page of records."""
    query = [OpenApiParameter(each, str, OpenApiParameter.QUERY) for each in ("after", "limit", *look.filters)]
    documented = extend_schema(
        operation_id=f"{look.subject.replace('-', '_')}_list",
        summary=str(look.title),
        description=_for(look),
        tags=[look.subject],
        parameters=query,
        responses={200: OpenApiTypes.OBJECT, **PROBLEMS},
    )
    return {"get": documented(lambda self, request: page_answer(look, request))}


def one_methods(look: type[Look]) -> Methods:
    """Return the methods of the view of one record."""
    documented = extend_schema(
        operation_id=f"{look.subject.replace('-', '_')}_one",
        summary=f"{look.title}: one",
        description=_for(look),
        tags=[look.subject],
        parameters=[CODE],
        responses={200: OpenApiTypes.OBJECT, **PROBLEMS},
    )
    return {"get": documented(lambda self, request, code: one_answer(look, request, code))}


def _for(look: type[Look]) -> str:
    return f"For {', '.join(sorted(READS[look.reads]))}."
