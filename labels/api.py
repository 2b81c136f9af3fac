"""Doors and looks of this app: zones to pack, packs, and the papers of other records."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.law import shown_for_sign_law, sign_law
from dosewright.ground.paper.label import ROLL_100X80, SIZES
from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, KeysetPage, Look, SignedInput, door, look
from labels import queries, services
from labels.records import BatchReview, PackRow, PackView, ReleaseView
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


@door
class ApproveToPack(Door):
    """Approves a zone's units for packing."""

    action, subject, verb = "zone.approve_to_pack", "zone", "approve-to-pack"
    title = _("Approve to pack")
    hint = _("You review the batch record of this zone and sign it.")
    Input = SignedInput

    def shown(self, actor: Actor, code: str, *, at: datetime) -> BatchReview:
        """Return the batch record of the zone."""
        return services.shown_for_approve_to_pack(actor, code, at=at)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Approve."""
        return {"code": code, "state": services.approve_to_pack(actor, code, pen=SignedInput.pen(data), at=at)}


@door
class StartPack(Door):
    """Starts a pack."""

    action, subject, creates = "pack.start", "pack", True
    title = _("Start a pack")
    hint = _("One zone at a time.")
    Input = StartInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.PackAnswer:
        """Start it."""
        return services.start_pack(actor, at=at, **data)


@door
class FillPack(Door):
    """Fills a pack from its zone."""

    action, subject, verb = "pack.fill", "pack", "fill"
    title = _("Fill the pack")
    Input = FillInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.PackAnswer:
        """Fill it."""
        return services.fill_pack(actor, code, at=at, **data)


@door
class IssueLabel(Door):
    """Prints one label original."""

    action, subject, verb = "label.issue", "pack", "issue-label"
    title = _("Print a label original")
    hint = _("It is numbered and must be accounted for.")
    Input = StockInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.PackAnswer:
        """Print it."""
        return services.issue_label(actor, code, stock=data["stock"], at=at)


@door
class AccountLabel(Door):
    """Says what became of a label original."""

    action, subject, verb = "label.account", "pack", "account-label"
    title = _("Account for a label")
    Input = AccountInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.PackAnswer:
        """Record it."""
        return services.account_label(
            actor, code, label=data["label_code"], became=data["became"], reason=data["reason"], at=at
        )


@door
class SecondScan(Door):
    """Records the second person's scan."""

    action, subject, verb = "pack.second_scan", "pack", "second-scan"
    title = _("Second scan")
    hint = _("By somebody who did not pack: zone, container, label.")
    Input = ScanInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.PackAnswer:
        """Record it."""
        scanned = {"zone": data["zone"], "container_lot": data["container_lot"], "label": data["label_code"]}
        return services.second_scan(actor, code, at=at, **scanned)


@door
class ClosePack(Door):
    """Closes a pack."""

    action, subject, verb = "pack.close", "pack", "close"
    title = _("Close the pack")
    hint = _("Filled, labelled, scanned by a second person, its label originals accounted for.")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.PackAnswer:
        """Close it."""
        return services.close_pack(actor, code, at=at)


@door
class ReleasePack(Door):
    """Releases a pack."""

    action, subject, verb = "pack.release", "pack", "release"
    title = _("Release for supply")
    hint = _("You see everything, scan the pack and sign.")
    Input = ReleaseInput

    def shown(self, actor: Actor, code: str, *, at: datetime) -> ReleaseView:
        """Return the release record."""
        return services.release_record(actor, code, at=at)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.PackAnswer:
        """Release it."""
        return services.release_pack(actor, code, scanned=data["scanned"], pen=SignedInput.pen(data), at=at)


@door
class RejectPack(Door):
    """Rejects a pack."""

    action, subject, verb = "pack.reject", "pack", "reject"
    title = _("Reject")
    hint = _("It is quarantined and can only be destroyed.")
    Input = RejectInput

    def shown(self, actor: Actor, code: str, *, at: datetime) -> ReleaseView:
        """Return the release record."""
        return services.release_record(actor, code, at=at)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.PackAnswer:
        """Reject it."""
        return services.reject_pack(actor, code, reason=data["reason"], pen=SignedInput.pen(data), at=at)


@door
class QuarantinePack(Door):
    """Holds a released pack."""

    action, subject, verb = "pack.quarantine", "pack", "quarantine"
    title = _("Quarantine")
    Input = ReasonInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.PackAnswer:
        """Hold it."""
        return services.quarantine_pack(actor, code, reason=data["reason"], at=at)


@door
class SupplyPack(Door):
    """Hands a pack over."""

    action, subject, verb = "pack.supply", "pack", "supply"
    title = _("Supply")
    hint = _("The order is screened once more.")
    Input = SupplyInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.PackAnswer:
        """Hand it over."""
        return services.supply_pack(actor, code, at=at, **data)


@door
class TakeBackPack(Door):
    """Takes a pack back."""

    action, subject, verb = "pack.take_back", "pack", "take-back"
    title = _("Take back")
    hint = _("It is held apart and destroyed, never supplied again.")
    Input = TakeBackInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.PackAnswer:
        """Take it back."""
        return services.take_back_pack(actor, code, at=at, **data)


@door
class DestroyPack(Door):
    """Destroys a pack."""

    action, subject, verb = "pack.destroy", "pack", "destroy"
    title = _("Destroy")
    hint = _("Before a witness.")
    needs = ("packing", "packed", "released", "quarantined", "returned")
    Input = DestroyInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.PackAnswer:
        """Destroy it."""
        return services.destroy_pack(actor, code, at=at, **data)


@door
class DraftLabel(Door):
    """Prints a draft of the label."""

    action, subject, verb = "document.draft", "pack", "draft-label"
    title = _("Print a draft of the label")
    Input = StockInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Print it."""
        return {"code": code, "document": services.draft_label(actor, code, stock=data["stock"], at=at).code}


@door
class DraftCertificate(Door):
    """Prints a draft of the certificate."""

    action, subject, verb = "document.draft", "pack", "draft-certificate"
    title = _("Print a draft of the certificate")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Print it."""
        return {"code": code, "document": services.draft_certificate(actor, code, at=at).code}


@door
class WeighingSheet(Door):
    """Prints the weighing sheet."""

    action, subject, verb = "document.make", "resin-lot", "weighing-sheet"
    title = _("Print the weighing sheet")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.PaperAnswer:
        """Print it."""
        return services.weighing_sheet(actor, code, at=at)


@door
class PlateMap(Door):
    """Prints the plate map."""

    action, subject, verb = "document.make", "batch", "plate-map"
    title = _("Print the plate map")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.PaperAnswer:
        """Print it."""
        return services.plate_map(actor, code, at=at)


@door
class TraceReport(Door):
    """Prints a trace."""

    action, subject, verb = "document.make", "trace", "report"
    title = _("Print the trace")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.PaperAnswer:
        """Print it."""
        return services.trace_report(actor, code, at=at)


@door
class SignLaw(Door):
    """Puts a law pack into use."""

    action, subject, verb = "jurisdiction.sign", "law-pack", "sign"
    title = _("Put a law pack into use")
    Input = SignedInput

    def shown(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return the law pack."""
        return shown_for_sign_law(actor, code)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Sign it."""
        return sign_law(actor, code, pen=SignedInput.pen(data), at=at)


@look
class PackLook(Look):
    """Packs and where they are."""

    subject, reads = "pack", "pack"
    title = _("Packs")
    filters = ("state", "order", "batch")

    def one(self, actor: Actor, code: str, *, at: datetime) -> PackView:
        """Return one pack."""
        return queries.pack(actor, code, at=at)

    def page(
        self, actor: Actor, *, after: str, limit: int, filters: Mapping[str, str], at: datetime
    ) -> KeysetPage[PackRow]:
        """Return packs, the newest first."""
        return queries.packs(actor, after=after, limit=limit, **filters)
