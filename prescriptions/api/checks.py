"""Doors of the clinical check: alerts, reasons, verify, query, answer, return."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, SignedInput, door
from prescriptions import services
from prescriptions.api.inputs import ReasonInput


@door
class OpenAlerts(Door):
    """Open an order's alerts."""

    action, subject, verb = "alert.open", "order", "open-alerts"
    title = _("Open alerts")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Open them."""
        return {"order": code, "alerts": services.open_alerts(actor, code, at=at)}


@door
class GiveReason(Door):
    """Give a reason for an alert."""

    action, subject, verb = "alert.reason", "alert", "reason"
    title = _("Give a reason")

    class Input(serializers.Serializer[Any]):
        reason = serializers.CharField(min_length=5, max_length=300, label=_("Why the order may go on"))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Give it."""
        return services.give_reason(actor, code, reason=data["reason"], at=at)


@door
class VerifyOrder(Door):
    """Verify an order clinically."""

    action, subject, verb = "order.verify", "order", "verify"
    title = _("Verify")
    Input = SignedInput

    def shown(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return record, signatures, reports and alerts."""
        return services.verify_shown(actor, code)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Verify it."""
        return services.verify_order(actor, code, pen=SignedInput.pen(data), at=at)


@door
class QueryOrder(Door):
    """Ask the prescriber."""

    action, subject, verb = "order.query", "order", "query"
    title = _("Query")

    class Input(serializers.Serializer[Any]):
        question = serializers.CharField(min_length=3, max_length=500, label=_("Question to the prescriber"))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Ask."""
        return services.query_order(actor, code, question=data["question"], at=at)


@door
class AnswerOrder(Door):
    """Answer a query."""

    action, subject, verb = "order.answer", "order", "answer"
    title = _("Answer")

    class Input(serializers.Serializer[Any]):
        answer = serializers.CharField(min_length=3, max_length=500, label=_("Answer to the pharmacist"))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Answer."""
        return services.answer_order(actor, code, answer=data["answer"], at=at)


@door
class ReturnOrder(Door):
    """Send an order back to its prescriber."""

    action, subject, verb = "order.return", "order", "return"
    title = _("Return to prescriber")
    Input = ReasonInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Return it."""
        return services.return_order(actor, code, reason=data["reason"], at=at)
