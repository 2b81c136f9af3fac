"""Inputs that several doors share: an order with an optional pen, a reason."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.strict_json import parse
from dosewright.ground.signing import Pen


class StrictJsonField(serializers.JSONField):
    """A JSON value: as the body's parser left it, or typed as text and then parsed as strictly."""

    def to_internal_value(self, data: Any) -> Any:
        """Return the value; a text is parsed, and anything else was parsed before."""
        return parse(data.encode("utf-8", "surrogatepass")) if isinstance(data, str) else data


class OrderInput(serializers.Serializer[Any]):
    """One order as the order JSON, signed at once where password and digest come along."""

    order = StrictJsonField(label=_("Order"), help_text=_("The order JSON."), style={"base_template": "textarea.html"})
    shown_digest = serializers.CharField(max_length=64, required=False, allow_blank=True, label=_("Digest shown"))
    password = serializers.CharField(
        max_length=200,
        required=False,
        allow_blank=True,
        trim_whitespace=False,
        label=_("Your password"),
        style={"input_type": "password"},
    )

    @staticmethod
    def pen(data: Mapping[str, Any]) -> Pen | None:
        """Return the pen where one was given; half a pen is refused."""
        password, digest = data.get("password", ""), data.get("shown_digest", "")
        if not password and not digest:
            return None
        if not (password and digest):
            raise BadInput.because(
                "password", "a signature needs both password and shown_digest", accepted="both, or neither", rule="pen"
            )
        return Pen(password=password, shown_digest=digest)


class ChangeInput(OrderInput):
    """A new version of an order and why it is needed."""

    change_reason = serializers.CharField(min_length=3, max_length=200, label=_("Why it changes"))


class ReasonInput(serializers.Serializer[Any]):
    """Why."""

    reason = serializers.CharField(min_length=3, max_length=200, label=_("Reason"))
