"""Doors and look of deviations."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, KeysetPage, Look, SignedInput, door, look
from printing.runs import queries, services
from printing.runs.content import DECISIONS


def _codes(label: Any) -> serializers.ListField:
    return serializers.ListField(
        child=serializers.CharField(max_length=60), required=False, label=label, help_text=_("One on each line.")
    )


@door
class OpenDeviation(Door):
    """Opens a deviation."""

    action, subject, creates = "deviation.open", "deviation", True
    title = _("Open a deviation")

    class Input(serializers.Serializer[Any]):
        """What did not go as laid down, and of what."""

        kind = serializers.CharField(min_length=3, max_length=40, label=_("Kind"))
        text = serializers.CharField(min_length=10, max_length=2000, label=_("What happened"))
        effect = serializers.CharField(max_length=200, label=_("What it may do"))
        batch = serializers.CharField(max_length=20, required=False, allow_blank=True, label=_("Print batch"))
        zones = _codes(_("Zones"))
        resin_lot = serializers.CharField(max_length=20, required=False, allow_blank=True, label=_("Resin lot"))
        concerns = _codes(_("Whom it concerns"))
        holds = serializers.BooleanField(default=True, label=_("Holds what it is of until it is closed"))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Open it."""
        return services.open_deviation(actor, at=at, **data)


@door
class CloseDeviation(Door):
    """Closes a deviation."""

    action, subject, verb = "deviation.close", "deviation", "close"
    title = _("Close the deviation")
    hint = _("By a pharmacist whom it does not concern.")

    class Input(SignedInput):
        """What was found, what was done, what follows."""

        investigation = serializers.CharField(min_length=10, max_length=2000, label=_("Investigation"))
        action_taken = serializers.CharField(min_length=10, max_length=2000, label=_("Action taken"))
        decision = serializers.ChoiceField(choices=DECISIONS, label=_("The goods"))

    def shown(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return the deviation."""
        return services.shown_for_close(actor, code)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Close it."""
        return services.close_deviation(
            actor,
            code,
            investigation=data["investigation"],
            action_taken=data["action_taken"],
            decision=data["decision"],
            pen=SignedInput.pen(data),
            at=at,
        )


@look
class DeviationLook(Look):
    """Deviations."""

    subject, reads = "deviation", "batch"
    title = _("Deviations")
    filters = ("state", "batch")

    def one(self, actor: Actor, code: str, *, at: datetime) -> queries.DeviationFacts:
        """Return one deviation."""
        return queries.deviation(actor, code)

    def page(
        self, actor: Actor, *, after: str, limit: int, filters: Mapping[str, str], at: datetime
    ) -> KeysetPage[queries.DeviationFacts]:
        """Return a page of deviations, the newest first."""
        return queries.deviations(
            actor, after=after, limit=limit, state=filters.get("state", ""), batch=filters.get("batch", "")
        )
