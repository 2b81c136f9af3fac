"""Doors on patients: take on, correct, measure, reveal."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.quantities import parse_height_cm, parse_weight_kg
from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, door
from prescriptions import services
from prescriptions.api.inputs import ReasonInput
from prescriptions.intake.order_request import (
    ALLERGY_STATES,
    SEXES,
    SWALLOWING,
    Identifier,
    Measure,
    StatedAllergies,
    StatedPatient,
)

SAID = ("not recorded", "no", "yes")


class PatientInput(serializers.Serializer[Any]):
    """A new patient."""

    identifier_system = serializers.CharField(max_length=120, label=_("Whose number"))
    identifier_value = serializers.CharField(max_length=60, label=_("Patient number"))
    family_name = serializers.CharField(max_length=120, label=_("Family name"))
    given_name = serializers.CharField(max_length=120, label=_("Given name"))
    birth_date = serializers.DateField(label=_("Birth date"))
    sex = serializers.ChoiceField(choices=SEXES, label=_("Sex"))
    allergies_status = serializers.ChoiceField(choices=ALLERGY_STATES, label=_("Allergies"))
    allergies = serializers.ListField(
        child=serializers.CharField(max_length=120), default=list, label=_("Allergies listed")
    )
    swallowing = serializers.ChoiceField(choices=SWALLOWING, label=_("Swallowing"))
    largest_unit_mm = serializers.DecimalField(
        max_digits=6,
        decimal_places=2,
        min_value=Decimal(1),
        max_value=Decimal(25),
        required=False,
        allow_null=True,
        label=_("Largest form the patient takes [mm]"),
    )
    feeding_tube = serializers.ChoiceField(choices=SAID, default="not recorded", label=_("Feeding tube"))
    stricture = serializers.ChoiceField(choices=SAID, default="not recorded", label=_("Stricture"))
    pregnancy_possible = serializers.ChoiceField(choices=SAID, default="not recorded", label=_("Pregnancy possible"))
    weight_kg = serializers.CharField(max_length=12, required=False, allow_blank=True, label=_("Weight [kg]"))
    weighed_on = serializers.DateField(required=False, allow_null=True, label=_("Weighed on"))
    height_cm = serializers.CharField(max_length=12, required=False, allow_blank=True, label=_("Height [cm]"))
    height_on = serializers.DateField(required=False, allow_null=True, label=_("Height taken on"))


@door
class RegisterPatient(Door):
    """Take a new patient on."""

    action, subject, creates = "patient.register", "patient", True
    title = _("Register patient")
    Input = PatientInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Register them."""
        return {"code": services.register_patient(actor, facts=_stated_patient(data), at=at)}


@door
class CorrectPatient(Door):
    """Correct what stands of a patient."""

    action, subject, verb = "patient.correct", "patient", "correct"
    title = _("Correct")
    hint = _("Leave open what is right; say why the rest was wrong.")

    class Input(serializers.Serializer[Any]):
        family_name = serializers.CharField(max_length=120, required=False, allow_blank=True, label=_("Family name"))
        given_name = serializers.CharField(max_length=120, required=False, allow_blank=True, label=_("Given name"))
        birth_date = serializers.DateField(required=False, allow_null=True, label=_("Birth date"))
        sex = serializers.ChoiceField(choices=("", *SEXES), required=False, allow_blank=True, label=_("Sex"))
        swallowing = serializers.ChoiceField(
            choices=("", *SWALLOWING), required=False, allow_blank=True, label=_("Swallowing")
        )
        feeding_tube = serializers.ChoiceField(
            choices=("", *SAID), required=False, allow_blank=True, label=_("Feeding tube")
        )
        stricture = serializers.ChoiceField(choices=("", *SAID), required=False, allow_blank=True, label=_("Stricture"))
        pregnancy_possible = serializers.ChoiceField(
            choices=("", *SAID), required=False, allow_blank=True, label=_("Pregnancy possible")
        )
        allergies_recorded = serializers.ChoiceField(
            choices=("", *ALLERGY_STATES), required=False, allow_blank=True, label=_("Allergies")
        )
        largest_unit_mm = serializers.DecimalField(
            max_digits=6,
            decimal_places=2,
            required=False,
            allow_null=True,
            label=_("Largest form the patient takes [mm]"),
        )
        reason = serializers.CharField(min_length=5, max_length=200, label=_("Reason"))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Correct it."""
        changes = {name: value for name, value in data.items() if name != "reason" and value not in {None, ""}}
        services.correct_patient(actor, code, changes=changes, reason=data["reason"], at=at)
        return {"code": code, "corrected": sorted(changes)}


@door
class MeasurePatient(Door):
    """Add a weight or a height."""

    action, subject, verb = "patient.measure", "patient", "measure"
    title = _("Add weight or height")

    class Input(serializers.Serializer[Any]):
        kind = serializers.ChoiceField(choices=("weight", "height"), label=_("What"))
        value = serializers.CharField(max_length=12, label=_("Value"))
        unit = serializers.CharField(max_length=8, label=_("Unit"), help_text=_("kg or g; cm, m or mm."))
        measured_on = serializers.DateField(label=_("Measured on"))
        corrects = serializers.CharField(
            max_length=20,
            required=False,
            allow_blank=True,
            label=_("Replaces measure"),
            help_text=_("The code of a measure that was wrong."),
        )

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Add it."""
        measure = services.measure_patient(
            actor,
            code,
            kind=data["kind"],
            value=data["value"],
            unit=data["unit"],
            measured_on=data["measured_on"],
            corrects=data.get("corrects") or None,
            at=at,
        )
        return {"code": code, "measure": measure}


@door
class RevealPatient(Door):
    """Tell an auditor who a pseudonym is."""

    action, subject, verb = "patient.reveal", "patient", "reveal"
    title = _("Reveal who this is")
    hint = _("Your reason is recorded.")
    Input = ReasonInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Reveal it once."""
        return services.reveal_patient(actor, code, reason=data["reason"], at=at)


def _stated_patient(data: Mapping[str, Any]) -> StatedPatient:
    said = {"yes": True, "no": False, "not recorded": None}
    return StatedPatient(
        identifier=Identifier(system=data["identifier_system"], value=data["identifier_value"]),
        family_name=data["family_name"],
        given_name=data["given_name"],
        birth_date=data["birth_date"],
        sex=data["sex"],
        swallowing=data["swallowing"],
        allergies=_stated_allergies(data),
        weight=_measure(data, "weight_kg", "weighed_on", "kg"),
        height=_measure(data, "height_cm", "height_on", "cm"),
        largest_unit_mm=data.get("largest_unit_mm"),
        feeding_tube=said[data["feeding_tube"]],
        stricture=said[data["stricture"]],
        pregnancy_possible=said[data["pregnancy_possible"]],
    )


def _stated_allergies(data: Mapping[str, Any]) -> StatedAllergies:
    status, entries = data["allergies_status"], tuple(data["allergies"])
    if (status == "listed") != bool(entries):
        raise BadInput.because(
            "allergies",
            "status and entries contradict each other",
            value=status,
            accepted='entries with "listed", and none with any other status',
            rule="allergies-contradict",
        )
    return StatedAllergies(status=status, entries=entries)


def _measure(data: Mapping[str, Any], name: str, day: str, unit: str) -> Measure | None:
    value, measured_on = data.get(name), data.get(day)
    if not value and not measured_on:
        return None
    if not value or not measured_on:
        raise BadInput.because(name, "a measure needs its value and its day", accepted="both, or neither", rule="pair")
    how = parse_weight_kg if unit == "kg" else parse_height_cm
    return Measure(value=how(value, unit, field=name), measured_on=measured_on)
