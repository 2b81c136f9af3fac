"""Printers and their calibrations."""

from __future__ import annotations

from django.db import models


class Printer(models.Model):
    """One printer: its plate, its kind, and whether it talks to us or is typed from its screen."""

    code = models.CharField(max_length=20, unique=True)
    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    name = models.CharField(max_length=60)
    kind = models.CharField(max_length=60)
    mode = models.CharField(max_length=10, choices=[(one, one) for one in ("link", "manual")])
    plate_x_um = models.PositiveIntegerField()
    plate_y_um = models.PositiveIntegerField()
    build_height_um = models.PositiveIntegerField()
    tank_minimum_ul = models.PositiveIntegerField()
    loss_ul = models.PositiveIntegerField()
    tank = models.ForeignKey("stock.Equipment", on_delete=models.PROTECT, related_name="+", null=True)
    user = models.OneToOneField("ground.User", on_delete=models.PROTECT, related_name="printer", null=True)
    out_of_use_at = models.DateTimeField(null=True)
    version = models.PositiveIntegerField(default=1)


class Calibration(models.Model):
    """One calibration or laser check of a printer, and until when it counts."""

    append_only = True

    printer = models.ForeignKey(Printer, on_delete=models.PROTECT, related_name="calibrations")
    kind = models.CharField(max_length=20, choices=[(one, one) for one in ("calibration", "laser check")])
    done_at = models.DateTimeField()
    done_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    due_on = models.DateField()
    result_text = models.CharField(max_length=200)
    passed = models.BooleanField()
