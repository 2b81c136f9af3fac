"""Active moieties, how their doses round, and the limits that screening holds them against."""

from __future__ import annotations

from django.db import models


class Substance(models.Model):
    """What doses are expressed as at one site: an active moiety, or a form of it by custom of the trade.

    `moiety_frac` is the mass of the moiety per mass as ordered; doses of one moiety add up over all its substances.
    """

    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=80)
    moiety = models.CharField(max_length=80)
    moiety_frac = models.DecimalField(max_digits=10, decimal_places=9, default=1)
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


class SubstanceName(models.Model):
    """One other name of a substance, with its source.

    A synonym means the same, doses included. A form (ester, salt, hydrate) has another mass: `form_frac` is the mass as
    doses are expressed per mass of the form, and an order never takes a dose of it.
    """

    append_only = True
    SYNONYM, FORM = "synonym", "form"

    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    substance = models.ForeignKey(Substance, on_delete=models.PROTECT, related_name="names")
    name = models.CharField(max_length=80)
    kind = models.CharField(max_length=10, choices=[(one, one) for one in ("synonym", "form")])
    form_frac = models.DecimalField(max_digits=10, decimal_places=9, null=True)
    source = models.CharField(max_length=200)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "name"], name="one_meaning_per_name"),
            models.CheckConstraint(
                condition=models.Q(kind="synonym", form_frac=None) | models.Q(kind="form", form_frac__gt=0),
                name="a_form_has_its_own_mass",
            ),
        ]


class DoseLimit(models.Model):
    """One limit: per dose, day or course, for ages, weights and a route, absolute or by body size, with its source."""

    append_only = True

    substance = models.ForeignKey(Substance, on_delete=models.PROTECT, related_name="limits")
    per = models.CharField(max_length=10, choices=[(one, one) for one in ("dose", "day", "course")])
    basis = models.CharField(max_length=10, choices=[(one, one) for one in ("absolute", "per kg", "per m2")])
    low_mg = models.DecimalField(max_digits=18, decimal_places=6, null=True)
    high_mg = models.DecimalField(max_digits=18, decimal_places=6)
    severity = models.CharField(max_length=10, choices=[(one, one) for one in ("block", "reason", "inform")])
    age_from_days = models.PositiveIntegerField()
    age_to_days = models.PositiveIntegerField()
    from_kg = models.DecimalField(max_digits=9, decimal_places=3, null=True)
    to_kg = models.DecimalField(max_digits=9, decimal_places=3, null=True)
    route = models.CharField(max_length=20, default="oral")
    source = models.CharField(max_length=200)
    since = models.DateField()
    until = models.DateField(null=True)
