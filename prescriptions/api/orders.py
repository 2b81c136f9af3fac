"""Doors of the prescriber's side of an order: enter, sign, attest, amend, send in again, stop."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, SignedInput, door
from prescriptions import services
from prescriptions.api.inputs import ChangeInput, OrderInput, ReasonInput, StrictJsonField
from prescriptions.intake.order_json import read_order
from prescriptions.intake.order_request import (
    OrderRequest,
)
from prescriptions.queries.naming import site_today


@door
class EnterOrder(Door):
    """Enter an order."""

    action, subject, creates = "order.enter", "order", True
    title = _("Enter order")
    hint = _("Without a signature the order waits for its prescriber, or for a pharmacist who saw the original.")
    Input = OrderInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Enter it; the source is the person who sends."""
        request = _request(actor, data, at)
        return services.enter_order(actor, request=request, source=actor.username, pen=OrderInput.pen(data), at=at)


@door
class SignOrder(Door):
    """Sign an order."""

    action, subject, verb = "order.sign", "order", "sign"
    title = _("Sign")
    Input = SignedInput

    def shown(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return the record that was prescribed."""
        return services.order_record(actor, code)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Sign it."""
        return services.sign_order(actor, code, pen=SignedInput.pen(data), at=at)


@door
class AttestOrder(Door):
    """Attest that the original was seen."""

    action, subject, verb = "order.attest", "order", "attest"
    title = _("Attest the original")
    hint = _("For an order that its prescriber did not sign here: you saw the original.")

    class Input(SignedInput):
        reference = serializers.CharField(max_length=80, label=_("Reference of the original"))
        seen_on = serializers.DateField(label=_("Seen on"))

    def shown(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return the record that was prescribed."""
        return services.order_record(actor, code)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Attest it."""
        return services.attest_order(
            actor, code, reference=data["reference"], seen_on=data["seen_on"], pen=SignedInput.pen(data), at=at
        )


@door
class AmendOrder(Door):
    """Replace what an order says."""

    action, subject, verb = "order.amend", "order", "amend"
    title = _("Amend")
    hint = _("The new version is signed afterwards with Sign, then screened and checked anew.")
    Input = ChangeInput

    def shown(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return the record that would be replaced."""
        return services.order_record(actor, code)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Amend it."""
        return services.amend_order(
            actor,
            code,
            request=_request(actor, data, at),
            change_reason=data["change_reason"],
            pen=OrderInput.pen(data),
            at=at,
        )


@door
class ResubmitOrder(Door):
    """Send a returned order in again."""

    action, subject, verb = "order.resubmit", "order", "resubmit"
    title = _("Send in again")
    hint = _("With a changed order, or, signed again, as it stood.")

    class Input(ChangeInput):
        order = StrictJsonField(required=False, label=_("Order"), help_text=_("The order JSON, where it changes."))

    def shown(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return the record as it stands."""
        return services.order_record(actor, code)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Send it in."""
        request = _request(actor, data, at) if data.get("order") else None
        return services.resubmit_order(
            actor, code, request=request, change_reason=data["change_reason"], pen=OrderInput.pen(data), at=at
        )


@door
class StopOrder(Door):
    """Stop an order."""

    action, subject, verb = "order.stop", "order", "stop"
    title = _("Stop order")
    hint = _("Whatever is planned, made or packed of it is held.")
    Input = ReasonInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Stop it."""
        return services.stop_order(actor, code, reason=data["reason"], at=at)


def _request(actor: Actor, data: Mapping[str, Any], at: datetime) -> OrderRequest:
    return read_order(data["order"], today=site_today(actor, at))
