"""Doors of release, supply, return and destruction."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, SignedInput, door
from labels import services
from labels.api.inputs import (
    DestroyInput,
    ReasonInput,
    RejectInput,
    ReleaseInput,
    SupplyInput,
    TakeBackInput,
)
from labels.records import ReleaseView


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
