"""Doors of a zone: broken off, weighed, looked at, assayed, judged."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, door
from printing.plates.queries import unit_zone
from printing.runs import services
from printing.runs.api.printing import numbers_in
from printing.runs.content import APPEARANCES


def reason_field(label: Any) -> serializers.CharField:
    """Return a field for one sentence."""
    return serializers.CharField(min_length=3, max_length=200, label=label)


def unit_field() -> serializers.CharField:
    """Return a field for a unit's code."""
    return serializers.CharField(max_length=20, label=_("Unit"), help_text=_("Its code on the plate map."))


def unit_of(actor: Actor, zone: str, unit: str) -> str:
    """Return the unit's code where it belongs to the zone; raises NotThere, BadInput."""
    if unit_zone(unit, site_id=actor.site_id) != zone:
        raise BadInput.because("unit", "is of another zone", value=unit, accepted=f"a unit of {zone}")
    return unit


@door
class BreakOff(Door):
    """Breaks the units of one zone off their raft."""

    action, subject, verb = "run.break_off", "zone", "break-off"
    title = _("Break off and count")
    hint = _("One zone at a time, in the order of the plate map.")
    needs = ("open",)

    class Input(serializers.Serializer[Any]):
        """What was counted."""

        counted = serializers.IntegerField(min_value=0, max_value=100_000, label=_("Counted"))
        missing = serializers.CharField(
            max_length=200,
            required=False,
            allow_blank=True,
            label=_("Numbers of units that are gone"),
            help_text=_("Where fewer were counted than should be there: 5, 12."),
        )

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Record it."""
        missing = numbers_in("missing", data.get("missing", ""))
        return services.break_off(actor, code, counted=data["counted"], missing=missing, at=at)


@door
class RecordMasses(Door):
    """Keeps the masses of a zone's units."""

    action, subject, verb = "run.mass", "zone", "masses"
    title = _("Record masses")
    hint = _("One mass for each unit that has none, in the order of their numbers.")
    needs = ("open",)

    class Input(serializers.Serializer[Any]):
        """The masses and the balance."""

        masses_mg = serializers.ListField(
            child=serializers.CharField(max_length=20),
            max_length=10_000,
            label=_("Masses [mg]"),
            help_text=_("One on each line, as the balance shows them."),
        )
        balance = serializers.CharField(max_length=20, label=_("Balance"), help_text=_("Scan or type its code."))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Keep them."""
        return services.record_masses(actor, code, at=at, **data)


@door
class RecordAppearance(Door):
    """Records that every unit was looked at."""

    action, subject, verb = "run.appearance", "zone", "appearance"
    title = _("Record appearance")
    hint = _("Major and critical defects reject the unit; units that are not named are free of defects.")
    needs = ("open",)

    class Input(serializers.Serializer[Any]):
        """How many units were looked at, and those with defects."""

        looked_at = serializers.IntegerField(min_value=1, label=_("Units looked at"))
        defects = serializers.DictField(
            child=serializers.ChoiceField(choices=APPEARANCES),
            required=False,
            label=_("Units with defects"),
            help_text=_("One on each line: number and class (minor, major, critical)."),
        )

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Record it."""
        given = data.get("defects", {})
        defects = {number: seen for name, seen in given.items() for number in numbers_in(f"defects.{name}", name)}
        return services.record_appearance(actor, code, looked_at=data["looked_at"], defects=defects, at=at)


@door
class RecordContent(Door):
    """Keeps the assay of one test unit."""

    action, subject, verb = "run.content", "zone", "content"
    title = _("Record a content")
    hint = _("Of weighed units of a test zone; the unit is used up.")
    needs = ("open",)

    class Input(serializers.Serializer[Any]):
        """Which unit, how much, by which method."""

        unit = unit_field()
        content_mg = serializers.CharField(max_length=20, label=_("Content [mg]"))
        method = serializers.CharField(min_length=3, max_length=60, label=_("Method"))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Keep it."""
        unit = unit_of(actor, code, data["unit"])
        return services.record_content(actor, unit, content_mg=data["content_mg"], method=data["method"], at=at)


@door
class CorrectMeasurement(Door):
    """Replaces a wrong value; the old one stays on record."""

    action, subject, verb = "run.mass", "zone", "correct"
    title = _("Correct a value")
    needs = ("open",)

    class Input(serializers.Serializer[Any]):
        """Which value, what is right, why."""

        measurement = serializers.CharField(max_length=20, label=_("Measurement"), help_text=_("Its code."))
        value = serializers.CharField(max_length=20, label=_("Right value"))
        reason = reason_field(_("Reason"))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Correct it."""
        return services.correct_measurement(
            actor, data["measurement"], value=data["value"], reason=data["reason"], at=at
        )


@door
class RejectUnit(Door):
    """Rejects one unit."""

    action, subject, verb = "run.reject_unit", "zone", "reject-unit"
    title = _("Reject a unit")
    needs = ("open",)

    class Input(serializers.Serializer[Any]):
        """Which unit and why."""

        unit = unit_field()
        reason = reason_field(_("Reason"))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Reject it."""
        return services.reject_unit(actor, unit_of(actor, code, data["unit"]), reason=data["reason"], at=at)


@door
class FindUnit(Door):
    """Records that a missed unit was found."""

    action, subject, verb = "run.find_unit", "zone", "find-unit"
    title = _("A missed unit was found")
    needs = ("open",)

    class Input(serializers.Serializer[Any]):
        """Which unit and where it was."""

        unit = unit_field()
        where = reason_field(_("Where it was"))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Record it."""
        return services.find_unit(actor, unit_of(actor, code, data["unit"]), where=data["where"], at=at)


@door
class JudgeZone(Door):
    """Judges a zone by its evidence."""

    action, subject, verb = "run.verdict", "zone", "judge"
    title = _("Judge the zone")
    hint = _("The outcome is worked out from the evidence; nobody chooses it.")
    needs = ("open",)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Judge it."""
        return services.judge_zone(actor, code, at=at)


@door
class DestroyUnits(Door):
    """Destroys units before a witness."""

    action, subject, verb = "unit.destroy", "zone", "destroy-units"
    title = _("Destroy units")
    hint = _("Rejected, surplus, retained or returned units, before a second person.")

    class Input(serializers.Serializer[Any]):
        """Which units, why, who saw it."""

        units = serializers.ListField(
            child=serializers.CharField(max_length=20),
            max_length=1000,
            label=_("Units"),
            help_text=_("One on each line."),
        )
        reason = reason_field(_("Reason"))
        witness = serializers.CharField(max_length=60, label=_("Witness"), help_text=_("Their user name."))
        witness_password = serializers.CharField(
            max_length=200,
            trim_whitespace=False,
            label=_("The witness's own password"),
            style={"input_type": "password"},
        )

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Destroy them."""
        units = [unit_of(actor, code, one) for one in data["units"]]
        return services.destroy_units(
            actor,
            units=units,
            reason=data["reason"],
            witness=data["witness"],
            witness_password=data["witness_password"],
            at=at,
        )
