"""Active moieties, how their doses round, and the limits that screening holds them against."""

from __future__ import annotations

from django.db import models


class Substance(models.Model):
    """One active moiety that doses are expressed as, at one site."""

    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=80)
    rounding_step_mg = models.DecimalField(max_digits=12, decimal_places=6)
    rounding_limit_frac = models.DecimalField(max_digits=6, decimal_places=4)
    rounding_source = models.CharField(max_length=200)
    weekly_only = models.BooleanField(default=False)
    controlled = models.BooleanField(default=False)
    hazardous = models.BooleanField(default=False)
    narrow_index = models.BooleanField(default=False)
    warnings_text = models.TextField(default="[]")
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "name"], name="one_substance_per_name")]


class DoseLimit(models.Model):
    """One limit: per dose, day or course, for an age band and route, absolute or per body size, with its source."""

    append_only = True

    substance = models.ForeignKey(Substance, on_delete=models.PROTECT, related_name="limits")
    per = models.CharField(max_length=10, choices=[(one, one) for one in ("dose", "day", "course")])
    basis = models.CharField(max_length=10, choices=[(one, one) for one in ("absolute", "per kg", "per m2")])
    low_mg = models.DecimalField(max_digits=18, decimal_places=6, null=True)
    high_mg = models.DecimalField(max_digits=18, decimal_places=6)
    severity = models.CharField(max_length=10, choices=[(one, one) for one in ("block", "reason", "inform")])
    age_from_days = models.PositiveIntegerField()
    age_to_days = models.PositiveIntegerField()
    route = models.CharField(max_length=20, default="oral")
    source = models.CharField(max_length=200)
    since = models.DateField()
    until = models.DateField(null=True)
