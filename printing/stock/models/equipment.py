"""Tanks, baths, baskets, ovens, balances: what they are dedicated to, and when they are due."""

from __future__ import annotations

from django.db import models

KINDS = ("balance", "tank", "bath", "basket", "oven", "cure box", "printer film")
WET_KINDS = ("tank", "bath", "basket", "oven")
"""Kinds that touch resin or uncured units: one formulation each, until a study allows else."""


class Equipment(models.Model):
    """One piece of equipment with a code of its own; wet equipment is dedicated to one formulation."""

    code = models.CharField(max_length=20, unique=True)
    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=20, choices=[(one, one) for one in KINDS])
    name = models.CharField(max_length=60)
    formulation_code = models.CharField(max_length=20, blank=True)
    resolution_ug = models.PositiveBigIntegerField(null=True)
    repeatability_ug = models.PositiveBigIntegerField(null=True)
    capacity_ul = models.PositiveBigIntegerField(null=True)
    version = models.PositiveIntegerField(default=1)


class EquipmentCheck(models.Model):
    """One check (calibration, inspection) of one piece of equipment, and until when it counts."""

    append_only = True

    equipment = models.ForeignKey(Equipment, on_delete=models.PROTECT, related_name="checks")
    at = models.DateTimeField()
    by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    due_on = models.DateField()
    passed = models.BooleanField()
    result_text = models.CharField(max_length=200)

    class Meta:
        ordering = ("pk",)


class Cleaning(models.Model):
    """One cleaning of one piece of equipment."""

    append_only = True

    equipment = models.ForeignKey(Equipment, on_delete=models.PROTECT, related_name="cleanings")
    at = models.DateTimeField()
    by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    how = models.CharField(max_length=200)


class TankFill(models.Model):
    """What is in a tank, from when until when; one resin lot, never two."""

    code = models.CharField(max_length=20, unique=True)
    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    tank = models.ForeignKey(Equipment, on_delete=models.PROTECT, related_name="fills")
    resin_lot = models.ForeignKey("stock.ResinLot", on_delete=models.PROTECT, related_name="fills")
    filled_at = models.DateTimeField()
    filled_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    volume_ul = models.PositiveBigIntegerField()
    emptied_at = models.DateTimeField(null=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["tank"], condition=models.Q(emptied_at=None), name="one_fill_in_a_tank")
        ]
