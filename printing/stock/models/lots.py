"""Lots that are received, lots that are mixed here, and what was weighed and tested."""

from __future__ import annotations

from django.db import models

BASES = ("as is", "anhydrous", "dried")
EXPRESSED_AS = ("form", "moiety")
TESTS = ("identity", "assay", "appearance", "cure strip")


class IngredientLot(models.Model):
    """One lot of an ingredient, delivered or (a premix) made here, with its drug's assay and what that refers to.

    A premix made here is weighed into; ``target_ug`` is what was to be made of it, ``mixed_at`` when it was.
    """

    code = models.CharField(max_length=20, unique=True)
    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    ingredient = models.ForeignKey("formulary.Ingredient", on_delete=models.PROTECT, related_name="lots")
    supplier_lot = models.CharField(max_length=60)
    state = models.CharField(max_length=15, default="quarantined")
    received_at = models.DateTimeField()
    received_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    expires_on = models.DateField()
    assay_frac = models.DecimalField(max_digits=9, decimal_places=7, null=True)
    u_assay_frac = models.DecimalField(max_digits=9, decimal_places=7, null=True)
    assay_basis = models.CharField(max_length=10, choices=[(one, one) for one in BASES], blank=True)
    assay_expressed_as = models.CharField(max_length=10, choices=[(one, one) for one in EXPRESSED_AS], blank=True)
    water_frac = models.DecimalField(max_digits=9, decimal_places=7, null=True)
    loss_on_drying_frac = models.DecimalField(max_digits=9, decimal_places=7, null=True)
    certificate_reference = models.CharField(max_length=120)
    target_ug = models.PositiveBigIntegerField(null=True)
    mixed_at = models.DateTimeField(null=True)
    mixed_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, null=True, related_name="+")
    version = models.PositiveIntegerField(default=1)


class ResinLot(models.Model):
    """One lot of resin mixed here from one formulation version; its strength is computed from its rows."""

    code = models.CharField(max_length=20, unique=True)
    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    formulation = models.ForeignKey("formulary.Formulation", on_delete=models.PROTECT, related_name="lots")
    state = models.CharField(max_length=15, default="weighing")
    target_ug = models.PositiveBigIntegerField()
    started_at = models.DateTimeField()
    started_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    mixed_at = models.DateTimeField(null=True)
    mixed_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, null=True, related_name="+")
    version = models.PositiveIntegerField(default=1)


class Weighing(models.Model):
    """One actual weight of one recipe item from one ingredient lot into one resin lot."""

    append_only = True

    resin_lot = models.ForeignKey(ResinLot, on_delete=models.PROTECT, related_name="weighings")
    recipe_item = models.ForeignKey("formulary.RecipeItem", on_delete=models.PROTECT, related_name="+")
    ingredient_lot = models.ForeignKey(IngredientLot, on_delete=models.PROTECT, related_name="+")
    target_ug = models.PositiveBigIntegerField()
    actual_ug = models.PositiveBigIntegerField()
    balance = models.ForeignKey("stock.Equipment", on_delete=models.PROTECT, related_name="+")
    weighed_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    weighed_at = models.DateTimeField()
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("pk",)
        constraints = [models.UniqueConstraint(fields=["resin_lot", "recipe_item"], name="one_weighing_per_item")]


class WeighingCheck(models.Model):
    """The second person's check of one weighing."""

    append_only = True

    weighing = models.OneToOneField(Weighing, on_delete=models.PROTECT, related_name="second_check")
    checked_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    checked_at = models.DateTimeField()


class PremixWeighing(models.Model):
    """One actual weight of one part from one ingredient lot into one lot of a premix."""

    append_only = True

    premix_lot = models.ForeignKey(IngredientLot, on_delete=models.PROTECT, related_name="weighings")
    premix_item = models.ForeignKey("formulary.PremixItem", on_delete=models.PROTECT, related_name="+")
    ingredient_lot = models.ForeignKey(IngredientLot, on_delete=models.PROTECT, related_name="weighed_into")
    target_ug = models.PositiveBigIntegerField()
    actual_ug = models.PositiveBigIntegerField()
    balance = models.ForeignKey("stock.Equipment", on_delete=models.PROTECT, related_name="+")
    weighed_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    weighed_at = models.DateTimeField()
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.UniqueConstraint(fields=["premix_lot", "premix_item"], name="one_premix_weighing_per_item")
        ]


class PremixCheck(models.Model):
    """The second person's check of one weighing into a premix."""

    append_only = True

    weighing = models.OneToOneField(PremixWeighing, on_delete=models.PROTECT, related_name="second_check")
    checked_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    checked_at = models.DateTimeField()


class PremixAssay(models.Model):
    """One assay of one place of one lot of a premix, as it is weighed; their mean becomes the lot's assay."""

    append_only = True

    premix_lot = models.ForeignKey(IngredientLot, on_delete=models.PROTECT, related_name="assays")
    place = models.CharField(max_length=20)
    content_frac = models.DecimalField(max_digits=9, decimal_places=7)
    assayed_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    assayed_at = models.DateTimeField()

    class Meta:
        ordering = ("pk",)
        constraints = [models.UniqueConstraint(fields=["premix_lot", "place"], name="one_premix_assay_per_place")]


class LotTest(models.Model):
    """One result of one test before use, with the limits that applied; the verdict is computed from them."""

    append_only = True

    resin_lot = models.ForeignKey(ResinLot, on_delete=models.PROTECT, related_name="tests")
    kind = models.CharField(
        max_length=20, choices=[(one, one) for one in ("identity", "assay", "appearance", "cure strip")]
    )
    place = models.CharField(max_length=20, blank=True)
    value_text = models.CharField(max_length=60)
    unit = models.CharField(max_length=20, blank=True)
    low = models.DecimalField(max_digits=18, decimal_places=6, null=True)
    high = models.DecimalField(max_digits=18, decimal_places=6, null=True)
    accepted_text = models.CharField(max_length=120, blank=True)
    tested_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    tested_at = models.DateTimeField()

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.UniqueConstraint(fields=["resin_lot", "kind", "place"], name="one_result_per_test_and_place")
        ]
