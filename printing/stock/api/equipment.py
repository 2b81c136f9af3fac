"""Doors and look of equipment."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, KeysetPage, Look, door, look
from printing.stock import queries, services
from printing.stock.content import EquipmentFacts
from printing.stock.models.equipment import KINDS
from printing.stock.queries.equipment import EquipmentRow


class RegisterInput(serializers.Serializer[Any]):
    """A piece of equipment with its first check."""

    kind = serializers.ChoiceField(choices=KINDS, label=_("Kind"))
    name = serializers.CharField(max_length=60, label=_("Name"))
    formulation = serializers.CharField(
        max_length=20,
        required=False,
        allow_blank=True,
        label=_("Formulation"),
        help_text=_("Tank, bath, basket and oven are for one formulation: its code."),
    )
    resolution_mg = serializers.DecimalField(
        max_digits=10, decimal_places=3, required=False, allow_null=True, label=_("Balance: scale interval (mg)")
    )
    repeatability_mg = serializers.DecimalField(
        max_digits=10,
        decimal_places=3,
        required=False,
        allow_null=True,
        label=_("Balance: repeatability (mg)"),
        help_text=_("Standard deviation of ten weighings."),
    )
    capacity_ml = serializers.DecimalField(
        max_digits=10, decimal_places=3, required=False, allow_null=True, label=_("Tank: capacity (mL)")
    )
    due_on = serializers.DateField(label=_("In date until"))
    check = serializers.CharField(max_length=200, label=_("Check"), help_text=_("What was checked and found."))


class CheckInput(serializers.Serializer[Any]):
    """One check of a piece of equipment."""

    due_on = serializers.DateField(label=_("In date until"))
    passed = serializers.BooleanField(label=_("Passed"))
    result = serializers.CharField(max_length=200, label=_("Result"))


class CleanInput(serializers.Serializer[Any]):
    """One cleaning."""

    how = serializers.CharField(max_length=200, label=_("How"), help_text=_("Procedure or agent."))


@door
class RegisterEquipment(Door):
    """Registers a piece of equipment."""

    action = "equipment.register"
    subject = "equipment"
    creates = True
    title = _("Register equipment")
    Input = RegisterInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Mapping[str, str]:
        """Register it."""
        return {"code": services.register_equipment(actor, at=at, **data)}


@door
class CheckEquipment(Door):
    """Records a calibration or inspection."""

    action = "equipment.check"
    subject = "equipment"
    verb = "check"
    title = _("Record a check")
    Input = CheckInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Mapping[str, str]:
        """Record the check."""
        return {"code": services.check_equipment(actor, code, at=at, **data)}


@door
class CleanEquipment(Door):
    """Records a cleaning."""

    action = "equipment.clean"
    subject = "equipment"
    verb = "clean"
    title = _("Record a cleaning")
    Input = CleanInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Mapping[str, str]:
        """Record the cleaning."""
        return {"code": services.clean_equipment(actor, code, how=data["how"], at=at)}


@look
class EquipmentLook(Look):
    """Equipment."""

    subject = "equipment"
    reads = "stock"
    title = _("Equipment")
    filters = ("kind",)

    def one(self, actor: Actor, code: str, *, at: datetime) -> EquipmentFacts:
        """Return one piece."""
        return queries.equipment(actor, code, at=at)

    def page(
        self, actor: Actor, *, after: str, limit: int, filters: Mapping[str, str], at: datetime
    ) -> KeysetPage[EquipmentRow]:
        """Return a page of equipment."""
        return queries.equipment_list(actor, at=at, after=after, limit=limit, kind=filters.get("kind", ""))
