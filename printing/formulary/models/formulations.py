"""Approved master formulas: recipe, process terms, finishing, and what they were validated for."""

from __future__ import annotations

from django.db import models


class Formulation(models.Model):
    """One version of one master formula; a change is a new version under the same code and a higher number."""

    code = models.CharField(max_length=20)
    number = models.PositiveIntegerField()
    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=120)
    substance = models.ForeignKey("prescriptions.Substance", on_delete=models.PROTECT, related_name="+")
    release = models.CharField(max_length=12)
    form_name = models.CharField(max_length=60)
    form_name_plural = models.CharField(max_length=60)
    state = models.CharField(max_length=15, default="draft")
    nominal_strength_mg_g = models.DecimalField(max_digits=12, decimal_places=6)
    u_nominal_strength_frac = models.DecimalField(max_digits=8, decimal_places=6)
    resin_density_g_cm3 = models.DecimalField(max_digits=8, decimal_places=5)
    lot_life_days = models.PositiveIntegerField()
    tank_life_hours = models.PositiveIntegerField(null=True)
    shelf_life_days = models.PositiveIntegerField(null=True)
    storage = models.CharField(max_length=120)
    container = models.CharField(max_length=120)
    warnings_text = models.TextField(default="[]")
    test_plan_text = models.TextField(default="{}")
    limits_text = models.TextField(default="{}")
    is_invented = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["code", "number"], name="one_formulation_per_number")]


class RecipeItem(models.Model):
    """One ingredient of one formulation version: its place in the order of addition and its mass fraction."""

    append_only = True

    formulation = models.ForeignKey(Formulation, on_delete=models.PROTECT, related_name="recipe")
    number = models.PositiveIntegerField()
    ingredient = models.ForeignKey("formulary.Ingredient", on_delete=models.PROTECT, related_name="+")
    mass_frac = models.DecimalField(max_digits=10, decimal_places=8)

    class Meta:
        ordering = ("formulation", "number")
        constraints = [models.UniqueConstraint(fields=["formulation", "number"], name="one_item_per_place")]


class ProcessTerms(models.Model):
    """The sizing terms fitted to assayed units of one formulation in one orientation on one mount.

    Fractions are per unit; ``u_`` columns are standard uncertainties of the column they name, with the fit's
    degrees of freedom; ``_scatter_`` columns are standard deviations from unit to unit.  A transfer factor that
    was not measured is empty, never 1.
    """

    append_only = True

    formulation = models.ForeignKey(Formulation, on_delete=models.PROTECT, related_name="terms")
    orientation = models.CharField(max_length=10)
    mount = models.CharField(max_length=10)
    transfer_factor = models.DecimalField(max_digits=10, decimal_places=8, null=True)
    u_transfer_factor = models.DecimalField(max_digits=10, decimal_places=8, null=True)
    density_mg_mm3 = models.DecimalField(max_digits=10, decimal_places=8)
    u_density_mg_mm3 = models.DecimalField(max_digits=10, decimal_places=8)
    bleed_mm = models.DecimalField(max_digits=10, decimal_places=8)
    u_bleed_mm = models.DecimalField(max_digits=10, decimal_places=8)
    overcure_mm = models.DecimalField(max_digits=10, decimal_places=8)
    u_overcure_mm = models.DecimalField(max_digits=10, decimal_places=8)
    leached_mm = models.DecimalField(max_digits=10, decimal_places=8)
    u_leached_mm = models.DecimalField(max_digits=10, decimal_places=8)
    bound_frac = models.DecimalField(max_digits=10, decimal_places=8)
    u_bound_frac = models.DecimalField(max_digits=10, decimal_places=8)
    degrees_of_freedom = models.PositiveIntegerField()
    outline_scatter_mm = models.DecimalField(max_digits=10, decimal_places=8)
    height_scatter_mm = models.DecimalField(max_digits=10, decimal_places=8)
    strength_scatter_frac = models.DecimalField(max_digits=10, decimal_places=8)
    swelling_frac = models.DecimalField(max_digits=8, decimal_places=6)
    study = models.ForeignKey("formulary.Study", on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["formulation", "orientation", "mount"], name="one_fit_per_way_of_printing")
        ]


class ValidatedRange(models.Model):
    """What a formulation version was shown to work for: shape, rule, way of printing and doses per unit.

    ``size_mm_text`` holds the least and largest finished length [mm] of each named dimension.
    """

    append_only = True

    formulation = models.ForeignKey(Formulation, on_delete=models.PROTECT, related_name="ranges")
    number = models.PositiveIntegerField()
    shape = models.CharField(max_length=20)
    rule = models.CharField(max_length=20)
    orientation = models.CharField(max_length=10)
    mount = models.CharField(max_length=10)
    dose_min_mg = models.DecimalField(max_digits=18, decimal_places=6)
    dose_max_mg = models.DecimalField(max_digits=18, decimal_places=6)
    layer_um_text = models.CharField(max_length=60)
    aspect_frac = models.DecimalField(max_digits=8, decimal_places=6, null=True)
    fixed_height_mm = models.DecimalField(max_digits=8, decimal_places=4, null=True)
    fixed_section_mm = models.DecimalField(max_digits=8, decimal_places=4, null=True)
    fixed_tube_mm = models.DecimalField(max_digits=8, decimal_places=4, null=True)
    cap_radius_frac = models.DecimalField(max_digits=8, decimal_places=6, null=True)
    size_mm_text = models.TextField()
    surface_to_volume_min_mm = models.DecimalField(max_digits=8, decimal_places=5)
    surface_to_volume_max_mm = models.DecimalField(max_digits=8, decimal_places=5)
    is_default = models.BooleanField(default=False)
    study = models.ForeignKey("formulary.Study", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("formulation", "number")
        constraints = [
            models.UniqueConstraint(fields=["formulation", "number"], name="one_range_per_number"),
            models.UniqueConstraint(
                fields=["formulation"], condition=models.Q(is_default=True), name="one_default_range"
            ),
        ]


class FinishStep(models.Model):
    """One finishing step in order: wash, dry or cure, with the range its time and conditions must keep."""

    append_only = True

    formulation = models.ForeignKey(Formulation, on_delete=models.PROTECT, related_name="finishing")
    number = models.PositiveIntegerField()
    kind = models.CharField(max_length=10, choices=[(one, one) for one in ("wash", "dry", "cure")])
    least_s = models.PositiveIntegerField()
    most_s = models.PositiveIntegerField()
    conditions_text = models.TextField(default="{}")

    class Meta:
        ordering = ("formulation", "number")
        constraints = [models.UniqueConstraint(fields=["formulation", "number"], name="one_finish_step_per_number")]
