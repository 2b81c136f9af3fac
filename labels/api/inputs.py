"""What the doors of packing, release and supply ask for."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.paper.label import ROLL_100X80, SIZES
from dosewright.ground.rest import SignedInput
from labels.services.labelling import FATES


def code_field(label: Any, hint: Any, length: int = 20) -> serializers.CharField:
    """Return the field of a code that is scanned or typed."""
    return serializers.CharField(max_length=length, label=label, help_text=hint)


def reason_field() -> serializers.CharField:
    """Return the field of a reason."""
    return serializers.CharField(max_length=200, label=_("Reason"), help_text=_("One sentence."))


class StartInput(serializers.Serializer[Any]):
    """Which zone goes into which container, on a cleared bench."""

    zone = code_field(_("Zone"), _("Scan the zone's code."))
    container_lot = code_field(_("Container lot"), _("Scan or type the container's lot."), 40)
    line_is_clear = serializers.BooleanField(
        label=_("Line clearance"), help_text=_("Nothing of another pack lies on the bench.")
    )


class FillInput(serializers.Serializer[Any]):
    """The zone that is emptied into the container, and how many were counted."""

    zone = code_field(_("Zone"), _("Scan the zone's code."))
    count = serializers.IntegerField(min_value=0, label=_("Counted into the container"))


class StockInput(serializers.Serializer[Any]):
    """The label stock that is in the printer."""

    stock = serializers.ChoiceField(
        choices=[(name, name) for name in SIZES], default=ROLL_100X80.name, label=_("Label stock")
    )


class AccountInput(serializers.Serializer[Any]):
    """What became of one label original."""

    label_code = code_field(_("Label"), _("The label's own code (DC-...)."))
    became = serializers.ChoiceField(choices=[(one, one) for one in FATES], label=_("What became of it"))
    reason = serializers.CharField(
        max_length=200,
        required=False,
        allow_blank=True,
        default="",
        label=_("Reason"),
        help_text=_("Needed for one that is spoiled or returned."),
    )


class ScanInput(serializers.Serializer[Any]):
    """The three things that the second person scans."""

    zone = code_field(_("Zone"), _("Scan the zone's code."))
    container_lot = code_field(_("Container lot"), _("Scan or type the container's lot."), 40)
    label_code = code_field(_("Label"), _("The label's own code (DC-...)."))


class ReleaseInput(SignedInput):
    """The scanned pack and the signature."""

    scanned = code_field(_("Scanned pack"), _("Scan the label's symbol or type the pack's code."), 90)


class RejectInput(SignedInput):
    """Why, and the signature."""

    reason = reason_field()


class ReasonInput(serializers.Serializer[Any]):
    """Why."""

    reason = reason_field()


class SupplyInput(serializers.Serializer[Any]):
    """The scanned pack, and to whom it goes."""

    scanned = code_field(_("Scanned pack"), _("Scan the label's symbol or type the pack's code."), 90)
    to_whom = code_field(_("Handed to"), _("By role, never by name: ward 3, patient, carer."), 40)


class TakeBackInput(ReasonInput):
    """How many came back, and why."""

    units = serializers.IntegerField(min_value=0, label=_("How many came back"))


class DestroyInput(ReasonInput):
    """Why, and who sees it."""

    witness = code_field(_("Witness"), _("The user name of another person who sees it."), 60)
    witness_password = serializers.CharField(
        max_length=200, trim_whitespace=False, style={"input_type": "password"}, label=_("The witness's own password")
    )
