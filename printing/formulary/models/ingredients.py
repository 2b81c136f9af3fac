"""Anything that is weighed."""

from __future__ import annotations

from django.db import models

ROLES = ("drug", "monomer", "reactive diluent", "inert diluent", "photoinitiator", "absorber", "stabiliser")


class Ingredient(models.Model):
    """One substance that can be weighed into a resin, in the form in which it is bought or, a premix, made here.

    ``premix_life_days`` is how long a premix may be used; it is empty for anything else.
    """

    code = models.CharField(max_length=20, unique=True)
    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=120)
    grade = models.CharField(max_length=60)
    role = models.CharField(max_length=20, choices=[(one, one) for one in ROLES])
    form = models.CharField(max_length=60)
    molar_mass_g_mol = models.DecimalField(max_digits=10, decimal_places=4, null=True)
    moiety_molar_mass_g_mol = models.DecimalField(max_digits=10, decimal_places=4, null=True)
    moieties_per_formula = models.PositiveSmallIntegerField(default=1)
    crystal_waters = models.PositiveSmallIntegerField(default=0)
    density_g_cm3 = models.DecimalField(max_digits=8, decimal_places=5)
    density_temperature_c = models.DecimalField(max_digits=5, decimal_places=1)
    source = models.CharField(max_length=200)
    hazards_text = models.TextField(default="[]")
    premix_life_days = models.PositiveIntegerField(null=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "name", "grade", "form"], name="one_ingredient_per_form")
        ]


class PremixItem(models.Model):
    """One part of one premix: its place in the order of addition and its mass fraction."""

    append_only = True

    premix = models.ForeignKey(Ingredient, on_delete=models.PROTECT, related_name="parts")
    number = models.PositiveIntegerField()
    ingredient = models.ForeignKey(Ingredient, on_delete=models.PROTECT, related_name="+")
    mass_frac = models.DecimalField(max_digits=10, decimal_places=8)

    class Meta:
        ordering = ("premix", "number")
        constraints = [models.UniqueConstraint(fields=["premix", "number"], name="one_part_per_place")]
