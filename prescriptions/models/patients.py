"""Patients and what screening must know of them."""

from __future__ import annotations

from django.db import models


class Patient(models.Model):
    """One patient of a site; everywhere else only the code stands."""

    code = models.CharField(max_length=20, unique=True)
    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    family_name = models.CharField(max_length=120)
    given_name = models.CharField(max_length=120)
    birth_date = models.DateField()
    sex = models.CharField(max_length=10, choices=[(one, one) for one in ("female", "male", "other", "unknown")])
    language = models.CharField(max_length=10, default="en")
    swallowing = models.CharField(
        max_length=20,
        choices=[(one, one) for one in ("not assessed", "solids", "mini-units only", "no solids")],
        default="not assessed",
    )
    largest_unit_mm = models.DecimalField(max_digits=6, decimal_places=2, null=True)
    feeding_tube = models.CharField(max_length=15, default="not recorded")
    stricture = models.CharField(max_length=15, default="not recorded")
    pregnancy_possible = models.CharField(max_length=15, default="not recorded")
    allergies_recorded = models.CharField(
        max_length=15,
        choices=[(one, one) for one in ("none", "listed", "not recorded")],
        default="not recorded",
    )
    registered_at = models.DateTimeField()
    version = models.PositiveIntegerField(default=1)

    class Meta:
        indexes = [models.Index(fields=["site", "family_name"])]


class PatientIdentifier(models.Model):
    """One number by which an outside system knows a patient."""

    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="identifiers")
    system = models.CharField(max_length=120)
    value = models.CharField(max_length=60)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "system", "value"], name="one_patient_per_identifier")]


class BodyMeasure(models.Model):
    """One weighing or measuring of a patient; a correction is a new row that names the old one."""

    append_only = True
    WEIGHT, HEIGHT = "weight", "height"

    code = models.CharField(max_length=20, unique=True)
    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="measures")
    kind = models.CharField(max_length=10)
    value = models.DecimalField(max_digits=9, decimal_places=3)
    unit = models.CharField(max_length=5)
    measured_on = models.DateField()
    entered_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()
    corrects = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="corrected_by")


class Allergy(models.Model):
    """One listed allergy or intolerance; free text that matches no substance is never ignored."""

    append_only = True

    patient = models.ForeignKey(Patient, on_delete=models.PROTECT, related_name="allergies")
    text = models.CharField(max_length=200)
    substance = models.ForeignKey("prescriptions.Substance", on_delete=models.PROTECT, null=True, related_name="+")
    entered_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()
