"""Doors from an approved zone to a packed container."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, SignedInput, door
from labels import services
from labels.api.inputs import (
    AccountInput,
    FillInput,
    ScanInput,
    StartInput,
    StockInput,
)
from labels.records import BatchReview


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
