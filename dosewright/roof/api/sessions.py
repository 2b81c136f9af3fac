"""Sessions for programs in a browser: sign in, who am I, sign out."""

from __future__ import annotations

from typing import Any

from django.middleware.csrf import get_token
from django.utils.decorators import method_decorator
from django.views.decorators.csrf import csrf_exempt, ensure_csrf_cookie
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.permissions import AllowAny, BasePermission, IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from dosewright.ground.models import User
from dosewright.ground.people import actor_of
from dosewright.ground.pure.roles import Channel
from dosewright.ground.rest import checked
from dosewright.roof import clock
from dosewright.roof.api.authentication import SessionDoor, actor_in
from dosewright.roof.api.schema import PROBLEMS
from dosewright.roof.api.sign_in import sign_in, sign_out


class SignIn(serializers.Serializer[Any]):
    """User name and password."""

    username = serializers.CharField(max_length=60)
    password = serializers.CharField(max_length=200, trim_whitespace=False, style={"input_type": "password"})


def _who(request: Request, user: User, channel: Channel) -> dict[str, Any]:
    actor = actor_of(user, channel=channel)
    return {
        "code": user.code,
        "username": user.username,
        "printed_name": user.printed_name,
        "site": user.site.code,
        "roles": sorted(actor.roles),
        "channel": channel,
        "csrf_token": get_token(request._request),
    }


@method_decorator(csrf_exempt, name="dispatch")
@method_decorator(ensure_csrf_cookie, name="dispatch")
class Session(APIView):
    """The session of the browser that asks."""

    def get_authenticators(self) -> list[Any]:
        """Need no CSRF token to sign in: a JSON body cannot come from another site's form."""
        if self.request is not None and self.request.method == "POST":
            return []
        return super().get_authenticators()

    def get_permissions(self) -> list[BasePermission]:
        """Let anybody sign in."""
        return [AllowAny()] if self.request.method == "POST" else [IsAuthenticated()]

    @extend_schema(
        operation_id="session_open",
        summary="Sign in",
        tags=["session"],
        request=SignIn,
        responses={201: OpenApiTypes.OBJECT, **PROBLEMS},
        auth=[],
    )
    def post(self, request: Request) -> Response:
        """Sign in; the answer holds the CSRF token to send back as X-CSRFToken."""
        data = checked(SignIn, request.data)
        user = sign_in(request._request, channel=Channel.SESSION, at=clock.now(), **data)
        return Response(_who(request, user, Channel.SESSION), status=201)

    @extend_schema(
        operation_id="session_who",
        summary="Who am I",
        tags=["session"],
        responses={200: OpenApiTypes.OBJECT, **PROBLEMS},
    )
    def get(self, request: Request) -> Response:
        """Say who asks, with which roles, by which door."""
        actor = actor_in(request)
        assert isinstance(request.user, User)
        return Response(_who(request, request.user, actor.channel))

    @extend_schema(
        operation_id="session_close",
        summary="Sign out",
        tags=["session"],
        request=None,
        responses={204: None, **PROBLEMS},
    )
    def delete(self, request: Request) -> Response:
        """Sign out."""
        if isinstance(request.successful_authenticator, SessionDoor):
            sign_out(request._request)
        return Response(status=204)
