"""The house's own web server with one more address: a bare insert by the same framework, to measure intake against."""

from __future__ import annotations

import os

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "dosewright.roof.settings")

from django.core.wsgi import get_wsgi_application

application = get_wsgi_application()

from django.db import connection, models, transaction  # noqa: E402
from django.urls import path  # noqa: E402
from rest_framework import serializers  # noqa: E402
from rest_framework.request import Request  # noqa: E402
from rest_framework.response import Response  # noqa: E402
from rest_framework.views import APIView  # noqa: E402

from dosewright.roof import urls  # noqa: E402


class Bare(models.Model):
    """One body as it came."""

    reference = models.CharField(max_length=120)
    body = models.TextField()

    class Meta:
        app_label = "bench"


class BareInput(serializers.ModelSerializer[Bare]):
    """The one check of the bare insert."""

    class Meta:
        model = Bare
        fields = ("reference", "body")


class BareInsert(APIView):
    """Check and insert; the people and sessions of the house, nothing else of it."""

    def post(self, request: Request) -> Response:
        given = {"reference": request.data["order"]["reference"], "body": str(request.data["order"])}
        one = BareInput(data=given)
        one.is_valid(raise_exception=True)
        with transaction.atomic():
            one.save()
        return Response(one.data, status=201)


def make_table() -> None:
    """Make the table of the bare insert."""
    with connection.schema_editor() as editor:
        editor.create_model(Bare)


urls.urlpatterns.insert(0, path("api/v1/bare", BareInsert.as_view()))
