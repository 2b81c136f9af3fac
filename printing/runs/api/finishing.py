"""Doors of finishing: start and end of each step, end of finishing, closing of a batch."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, door
from printing.runs import services

READINGS = ("temperature_c", "strength_percent")


def _reading(label: Any) -> serializers.DecimalField:
    return serializers.DecimalField(
        max_digits=7,
        decimal_places=2,
        min_value=Decimal(-100),
        max_value=Decimal(1000),
        required=False,
        allow_null=True,
        label=label,
        help_text=_("Where the step asks for it."),
    )


@door
class StartStep(Door):
    """Starts a finishing step."""

    action, subject, verb = "run.step", "batch", "start-step"
    title = _("Start a finishing step")
    needs = ("finishing",)

    class Input(serializers.Serializer[Any]):
        """Which step, in what."""

        number = serializers.IntegerField(min_value=1, max_value=100, label=_("Step"))
        equipment = serializers.CharField(
            max_length=20, label=_("Bath, oven or cure box"), help_text=_("Scan or type its code.")
        )

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Start it."""
        return services.start_finish_step(actor, code, at=at, **data)


@door
class EndStep(Door):
    """Ends a finishing step."""

    action, subject, verb = "run.step", "batch", "end-step"
    title = _("End a finishing step")
    hint = _("What left its range opens a deviation.")
    needs = ("finishing",)

    class Input(serializers.Serializer[Any]):
        """Which step, and what was read."""

        number = serializers.IntegerField(min_value=1, max_value=100, label=_("Step"))
        temperature_c = _reading(_("Temperature [°C]"))
        strength_percent = _reading(_("Strength of the wash [%]"))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """End it."""
        readings = {name: data[name] for name in READINGS if data.get(name) is not None}
        return services.end_finish_step(actor, code, number=data["number"], readings=readings, at=at)


@door
class FinishBatch(Door):
    """Ends the finishing of a batch."""

    action, subject, verb = "run.finish", "batch", "finish"
    title = _("End finishing")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """End it."""
        return services.finish_batch(actor, code, at=at)


@door
class CloseBatch(Door):
    """Closes a batch whose zones all have their verdict."""

    action, subject, verb = "run.close", "batch", "close"
    title = _("Close the batch")
    hint = _("Good units beyond what is wanted become surplus.")

    class Input(serializers.Serializer[Any]):
        """Units that are kept as samples."""

        retained = serializers.ListField(
            child=serializers.CharField(max_length=20),
            required=False,
            label=_("Units kept as samples"),
            help_text=_("One code on each line."),
        )

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Close it."""
        return services.close_batch(actor, code, retained=data.get("retained", ()), at=at)
