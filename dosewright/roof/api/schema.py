"""What the OpenAPI document says besides the doors: how to come in, and the one error shape."""

from __future__ import annotations

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.renderers import OpenApiJsonRenderer
from drf_spectacular.utils import OpenApiResponse
from drf_spectacular.views import SpectacularAPIView
from rest_framework import serializers
from rest_framework.permissions import AllowAny

from dosewright.roof.api.rendering import Json


class RefusalShape(serializers.Serializer[Any]):
    """One reason."""

    field = serializers.CharField(help_text="The input or record that is meant.")
    message = serializers.CharField()
    value = serializers.CharField(allow_null=True)
    limit = serializers.CharField(allow_null=True)
    unit = serializers.CharField(allow_null=True)
    accepted = serializers.CharField(allow_null=True, help_text="What would be taken instead.")
    rule = serializers.CharField(help_text="A stable slug.")


class Problem(serializers.Serializer[Any]):
    """Problem details (RFC 9457)."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField()
    refused = RefusalShape(many=True)


def _problem(text: str) -> OpenApiResponse:
    return OpenApiResponse(response=Problem, description=text)


PROBLEMS: dict[Any, OpenApiResponse] = {
    (401, "application/problem+json"): _problem("Nobody known asks."),
    (403, "application/problem+json"): _problem("This person may not; the refusal says who could."),
    (404, "application/problem+json"): _problem("No such record at this site."),
    (409, "application/problem+json"): _problem("Another state or version, or something stands in the way."),
    (412, "application/problem+json"): _problem("If-Match names another version."),
    (413, "application/problem+json"): _problem("The body is too large."),
    (415, "application/problem+json"): _problem("The body is no JSON."),
    (422, "application/problem+json"): _problem("The input cannot be taken; every field is named."),
}


class SessionScheme(OpenApiAuthenticationExtension):
    """The session cookie."""

    target_class = "dosewright.roof.api.authentication.SessionDoor"
    name = "session"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "apiKey", "in": "cookie", "name": "sessionid"}


class TokenScheme(OpenApiAuthenticationExtension):
    """The API token."""

    target_class = "dosewright.roof.api.authentication.TokenDoor"
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer"}


class Document(SpectacularAPIView):
    """The OpenAPI document of this API."""

    renderer_classes = [OpenApiJsonRenderer, Json]
    permission_classes = [AllowAny]


def camel(action: str) -> str:
    """Return the class name of an action: "order.verify" is OrderVerify."""
    return "".join(part.capitalize() for part in action.replace("_", ".").replace("-", ".").split("."))
