"""Fields and inputs that several doors of the stock share."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers


class ReasonInput(serializers.Serializer[Any]):
    """Why something is done to a lot."""

    reason = serializers.CharField(max_length=200, label=_("Reason"), help_text=_("One sentence."))


def code_field(label: Any, help_text: Any) -> serializers.CharField:
    """Return a field for a scanned or typed code."""
    return serializers.CharField(max_length=20, label=label, help_text=help_text)


def share_field(label: Any, *, required: bool = False) -> serializers.DecimalField:
    """Return a field for a share as the certificate's percent divided by 100."""
    return serializers.DecimalField(
        max_digits=9,
        decimal_places=7,
        required=required,
        allow_null=not required,
        label=label,
        help_text=_("As a fraction: 99.2 % is 0.992."),
    )
