"""The two FHIR R4 addresses: a Bundle at the root, one MedicationRequest at its own."""

from __future__ import annotations

from typing import Any, Final

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework import exceptions
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from dosewright.ground.act import record_refusal
from dosewright.ground.pure.errors import BadInput, Refusal, Refused
from dosewright.ground.pure.roles import Actor, authorise_role
from dosewright.roof import clock
from dosewright.roof.api.authentication import actor_in
from dosewright.roof.api.fhir.envelopes import ADDRESS, refused_outcome, response_bundle, taken_outcome
from dosewright.roof.api.parsing import FhirJson, StrictJson
from dosewright.roof.api.problems import status_of
from dosewright.roof.api.rendering import Json
from prescriptions.api.importing import ImportOrders
from prescriptions.intake.drafts import Intake
from prescriptions.intake.fhir_bundle import read_fhir
from prescriptions.queries.naming import site_today
from prescriptions.services import ImportAnswer, import_orders
from prescriptions.services.importing import ACTION

MEDIA: Final = "application/fhir+json"


class FhirOut(Json):
    """FHIR's JSON; an error is an OperationOutcome in the same media type."""

    media_type = MEDIA
    format = "fhir"

    def render(self, data: Any, accepted_media_type: str | None = None, renderer_context: Any = None) -> bytes:
        """Return the bytes of `data`."""
        body = super().render(data, accepted_media_type, renderer_context)
        response = (renderer_context or {}).get("response")
        if response is not None:
            response["Content-Type"] = MEDIA
        return body


class FhirAsJson(FhirOut):
    """The same to whoever asks for plain JSON."""

    media_type = "application/json"
    format = "json"


class _Fhir(APIView):
    """What both addresses share: strict bodies, answers and errors in FHIR's envelopes."""

    door = ImportOrders
    kind = ""
    parser_classes = [FhirJson, StrictJson]
    renderer_classes = [FhirOut, FhirAsJson]

    def handle_exception(self, exc: Exception) -> Response:
        """Answer what is refused as OperationOutcome; anything else is a real fault."""
        if isinstance(exc, Refused):
            return Response(refused_outcome(exc.refusals), status=status_of(exc))
        response = super().handle_exception(exc)
        if isinstance(exc, exceptions.APIException):
            one = Refusal(field="request", message=str(exc.detail), accepted=MEDIA, rule="request")
            response.data = refused_outcome([one])
        return response

    def taken(self, request: Request) -> tuple[Any, Intake, ImportAnswer]:
        """Return the body, what was read of it and what became of it; raises Refused where nothing was taken."""
        actor, at = actor_in(request), clock.now()
        try:
            authorise_role(actor, ACTION)
            body = request.data
            self._check_kind(body)
            intake = read_fhir(body, today=site_today(actor, at))
        except Refused as refused:
            record_refusal(actor, ACTION, refused, at=at)
            raise
        answer = _imported(actor, intake, at)
        return body, intake, answer

    def _check_kind(self, body: Any) -> None:
        kind = body.get("resourceType") if isinstance(body, dict) else None
        if kind != self.kind:
            message = "this address takes another resource"
            raise BadInput.because("resourceType", message, value=str(kind)[:60], accepted=self.kind, rule="resource")


def _imported(actor: Actor, intake: Intake, at: Any) -> ImportAnswer:
    answer = import_orders(actor, intake=intake, at=at)
    if answer.refused:
        refused = BadInput(*answer.refused)
        refused.recorded = True
        raise refused
    return answer


def _documented(name: str, text: str) -> Any:
    outcome = OpenApiResponse(response=OpenApiTypes.OBJECT, description="OperationOutcome; every element is named.")
    return extend_schema(
        operation_id=name,
        summary=text,
        description="FHIR R4 JSON. Nothing is signed by it: the order waits for its prescriber or an attestation.",
        tags=["fhir"],
        request={MEDIA: OpenApiTypes.OBJECT},
        responses={
            **{(code, MEDIA): OpenApiTypes.OBJECT for code in (200, 201)},
            **{(code, MEDIA): outcome for code in (401, 403, 409, 415, 422)},
        },
    )


class FhirMedicationRequest(_Fhir):
    """One order; whom it is for and who prescribed are contained in it."""

    kind = "MedicationRequest"

    @_documented("fhir_medication_request", "Send one order")
    def post(self, request: Request) -> Response:
        _, _, answer = self.taken(request)
        (order,) = answer.orders
        status = 200 if order.repeated else 201
        return Response(taken_outcome(order), status=status, headers={"Location": f"{ADDRESS}{order.code}"})


class FhirBundle(_Fhir):
    """Several orders with whom and what they name; taken whole or not at all."""

    kind = "Bundle"

    @_documented("fhir_bundle", "Send orders with whom and what they name")
    def post(self, request: Request) -> Response:
        body, intake, answer = self.taken(request)
        return Response(response_bundle(body, intake.drafts, answer.orders))
