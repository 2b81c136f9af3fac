"""Pinned printer settings and the studies that a formulation rests on."""

from __future__ import annotations

from django.db import models


class PrintProfile(models.Model):
    """One pinned set of a printer's settings for a formulation: name, version, hash, compensation applied."""

    code = models.CharField(max_length=20, unique=True)
    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    formulation = models.ForeignKey("formulary.Formulation", on_delete=models.PROTECT, related_name="profiles")
    printer_kind = models.CharField(max_length=60)
    name = models.CharField(max_length=60)
    profile_version = models.CharField(max_length=20)
    sha256 = models.CharField(max_length=64)
    layer_um = models.PositiveIntegerField()
    spot_um = models.PositiveIntegerField()
    compensation_text = models.TextField(default="{}")
    setup_s = models.DecimalField(max_digits=10, decimal_places=3)
    layer_s = models.DecimalField(max_digits=10, decimal_places=4)
    hatch_um = models.PositiveIntegerField()
    scan_mm_s = models.DecimalField(max_digits=12, decimal_places=4)
    contour_mm_s = models.DecimalField(max_digits=12, decimal_places=4)
    contours = models.PositiveSmallIntegerField(default=1)
    withdrawn_at = models.DateTimeField(null=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["formulation", "printer_kind", "layer_um"],
                condition=models.Q(withdrawn_at=None),
                name="one_pinned_profile_per_printer_kind_and_layer",
            )
        ]


class Study(models.Model):
    """One study: its kind, what was done, and the exact text of its result; verdicts are computed, not kept."""

    append_only = True

    code = models.CharField(max_length=20, unique=True)
    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    formulation = models.ForeignKey("formulary.Formulation", on_delete=models.PROTECT, related_name="studies")
    kind = models.CharField(max_length=40)
    title = models.CharField(max_length=200)
    result_text = models.TextField()
    digest = models.CharField(max_length=64)
    is_invented = models.BooleanField(default=False)
    entered_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField()
