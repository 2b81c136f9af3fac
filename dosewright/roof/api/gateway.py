"""What a linked printer asks for: its job, and the plate file; all else it does by the doors of its batch."""

from __future__ import annotations

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from dosewright.ground.pure.roles import Actor, Role, authorise_read, authorise_role
from dosewright.roof.api.authentication import actor_in
from dosewright.roof.api.schema import PROBLEMS
from printing.plates.queries import plate_file_bytes
from printing.runs.queries import batch_of_printer, printer_job

PLATE_FILE = "model/3mf"
"""Media type of a 3MF package (IANA registry, model/3mf)."""


class PrinterJob(APIView):
    """What the printer that asks is to do."""

    @extend_schema(
        operation_id="printer_job",
        summary="What the asking printer is to do: wait, load a batch's file, or print it",
        tags=["printer"],
        responses={200: OpenApiTypes.OBJECT, **PROBLEMS},
    )
    def get(self, request: Request) -> Response:
        actor = actor_in(request)
        authorise_role(actor, "run.seen")
        return Response(printer_job(actor))


class PlateFileView(APIView):
    """The plate file of one batch."""

    @extend_schema(
        operation_id="plate_file",
        summary="The plate file (3MF) of a batch, for its printer and for people who may see batches",
        tags=["batch"],
        parameters=[OpenApiParameter("code", str, OpenApiParameter.PATH)],
        responses={(200, PLATE_FILE): OpenApiTypes.BINARY, **PROBLEMS},
    )
    def get(self, request: Request, code: str) -> HttpResponse:
        return plate_file_answer(actor_in(request), code)


def plate_file_answer(actor: Actor, code: str) -> HttpResponse:
    """Return the response that carries a plate file, checked against its hash; raises NotAllowed, NotThere."""
    if actor.has(Role.PRINTER):
        batch_of_printer(actor, code)
    else:
        authorise_read(actor, "batch")
    answer = HttpResponse(plate_file_bytes(code, site_id=actor.site_id), content_type=PLATE_FILE)
    answer["Content-Disposition"] = f'attachment; filename="{code}.3mf"'
    return answer
