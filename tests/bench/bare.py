"""The house's own web server with two more addresses: bare inserts by the same framework, to measure intake against."""

from __future__ import annotations

import os
from typing import Any

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
from prescriptions.models import PatientIdentifier, Substance  # noqa: E402


class Bare(models.Model):
    """One body as it came."""

    reference = models.CharField(max_length=120)
    body = models.TextField()

    class Meta:
        app_label = "bench"


class BareOrder(models.Model):
    """One order as somebody would keep it who keeps no record: nothing says who changed what."""

    reference = models.CharField(max_length=120)
    patient = models.ForeignKey("prescriptions.PatientIdentifier", on_delete=models.DO_NOTHING, related_name="+")
    substance = models.ForeignKey("prescriptions.Substance", on_delete=models.DO_NOTHING, related_name="+")
    release = models.CharField(max_length=12, choices=[(one, one) for one in ("immediate", "prolonged")])
    route = models.CharField(max_length=20)
    reason = models.CharField(max_length=300)
    by = models.ForeignKey("ground.User", on_delete=models.DO_NOTHING, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        app_label = "bench"


class BareStep(models.Model):
    """One step of its regimen."""

    order = models.ForeignKey(BareOrder, on_delete=models.DO_NOTHING, related_name="steps")
    dose_mg = models.DecimalField(max_digits=18, decimal_places=6)
    times = models.JSONField()
    start_date = models.DateField()
    days = models.PositiveIntegerField()

    class Meta:
        app_label = "bench"


class BareLine(models.Model):
    """One dose line: a step and how many doses it has."""

    step = models.ForeignKey(BareStep, on_delete=models.DO_NOTHING, related_name="lines")
    administrations = models.PositiveIntegerField()

    class Meta:
        app_label = "bench"


class BareInput(serializers.ModelSerializer[Bare]):
    """The one check of the bare insert of one row."""

    class Meta:
        model = Bare
        fields = ("reference", "body")


class BareStepInput(serializers.ModelSerializer[BareStep]):
    """The checks of a step."""

    times = serializers.ListField(child=serializers.TimeField())

    class Meta:
        model = BareStep
        fields = ("dose_mg", "times", "start_date", "days")


class BareOrderInput(serializers.ModelSerializer[BareOrder]):
    """The checks of an order, and its rows."""

    patient = serializers.SlugRelatedField(slug_field="value", queryset=PatientIdentifier.objects.all())
    substance = serializers.SlugRelatedField(slug_field="name", queryset=Substance.objects.all())
    steps = BareStepInput(many=True)

    class Meta:
        model = BareOrder
        fields = ("reference", "patient", "substance", "release", "route", "reason", "steps")

    def create(self, validated_data: dict[str, Any]) -> BareOrder:
        steps = validated_data.pop("steps")
        order = BareOrder.objects.create(**validated_data)
        for step in steps:
            times = [one.isoformat() for one in step.pop("times")]
            row = BareStep.objects.create(order=order, times=times, **step)
            BareLine.objects.create(step=row, administrations=len(times) * step["days"])
        return order


class BareInsert(APIView):
    """Check and insert one row; the people and sessions of the house, nothing else of it."""

    def post(self, request: Request) -> Response:
        given = {"reference": request.data["order"]["reference"], "body": str(request.data["order"])}
        one = BareInput(data=given)
        one.is_valid(raise_exception=True)
        with transaction.atomic():
            one.save()
        return Response(one.data, status=201)


class BareOrders(APIView):
    """Check an order and insert what it says as rows of its own: order, steps, dose lines."""

    def post(self, request: Request) -> Response:
        order = request.data["order"]
        steps = [{"dose_mg": step["dose"].split()[0], **step} for step in order["regimen"]["steps"]]
        one = BareOrderInput(data={**order, "patient": order["patient"]["identifier"]["value"], "steps": steps})
        one.is_valid(raise_exception=True)
        with transaction.atomic():
            kept = one.save(by=request.user)
        return Response({"code": kept.pk, "reference": kept.reference}, status=201)


def make_tables() -> None:
    """Make the tables of the bare inserts."""
    with connection.schema_editor() as editor:
        for model in (Bare, BareOrder, BareStep, BareLine):
            editor.create_model(model)


urls.urlpatterns.insert(0, path("api/v1/bare", BareInsert.as_view()))
urls.urlpatterns.insert(0, path("api/v1/bare-order", BareOrders.as_view()))
