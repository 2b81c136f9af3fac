"""The trace of any code over REST."""

from __future__ import annotations

from importlib import import_module
from typing import Any

from django.utils.module_loading import module_has_submodule
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

import labels
from dosewright.ground.pure.codes import parse
from dosewright.ground.pure.errors import BadInput, SetupMissing
from dosewright.ground.pure.roles import Actor, authorise_read
from dosewright.ground.rest import plain
from dosewright.roof.api.authentication import actor_in
from dosewright.roof.api.schema import PROBLEMS


def trace_of(actor: Actor, code: str) -> dict[str, Any]:
    """Return nodes and edges of everything that `code` touched; raises NotAllowed, BadInput, NotThere."""
    authorise_read(actor, "trace")
    tidy = parse(code)[1]
    if not module_has_submodule(labels, "trace"):
        raise SetupMissing.because("trace", "tracing is not built in", rule="trace")
    return dict(plain(import_module("labels.trace").trace(actor, tidy)))


def is_traced(code: str) -> bool:
    """Tell whether `code` is of a kind that can be traced."""
    try:
        kind, _tidy = parse(code)
    except BadInput:
        return False
    return kind.name in import_module("labels.trace").TRACED


class TraceView(APIView):
    """Everything that a code touched, and how."""

    @extend_schema(
        operation_id="trace",
        summary="Trace a code",
        tags=["trace"],
        parameters=[OpenApiParameter("code", str, OpenApiParameter.PATH)],
        responses={200: OpenApiTypes.OBJECT, **PROBLEMS},
    )
    def get(self, request: Request, code: str) -> Response:
        return Response(trace_of(actor_in(request), code))
