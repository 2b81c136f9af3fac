"""Print batches, their zones and every single unit on them."""

from __future__ import annotations

from django.db import models


class PrintBatch(models.Model):
    """One run on one build plate with its batch number; the number is never used twice."""

    code = models.CharField(max_length=20, unique=True)
    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(
        max_length=15, choices=[(one, one) for one in ("product", "development")], default="product"
    )
    plan = models.CharField(max_length=20)
    printer = models.ForeignKey("plates.Printer", on_delete=models.PROTECT, related_name="batches")
    formulation = models.ForeignKey("formulary.Formulation", on_delete=models.PROTECT, related_name="+")
    resin_lot = models.ForeignKey("stock.ResinLot", on_delete=models.PROTECT, related_name="batches")
    profile = models.ForeignKey("formulary.PrintProfile", on_delete=models.PROTECT, related_name="+")
    state = models.CharField(max_length=15, default="planned")
    layer_um = models.PositiveIntegerField()
    layers = models.PositiveIntegerField()
    seconds = models.PositiveIntegerField()
    resin_ul = models.PositiveBigIntegerField()
    planned_at = models.DateTimeField()
    ready_by = models.DateTimeField()
    plan_text = models.TextField()
    plan_digest = models.CharField(max_length=64)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["printer"], condition=models.Q(state="printing"), name="one_running_batch_per_printer"
            )
        ]


class PlanRecord(models.Model):
    """One plan as it was made: its plates, what they cost against the bound, and what was left out and why."""

    append_only = True

    code = models.CharField(max_length=20, unique=True)
    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    text = models.TextField()
    digest = models.CharField(max_length=64)
    at = models.DateTimeField()


class SizedLine(models.Model):
    """One final sizing of one dose line with one resin lot: the exact text of the design and its checks."""

    append_only = True

    line = models.ForeignKey("prescriptions.DoseLine", on_delete=models.PROTECT, related_name="+")
    plan = models.CharField(max_length=20)
    resin_lot = models.ForeignKey("stock.ResinLot", on_delete=models.PROTECT, related_name="+")
    units_per_dose = models.PositiveSmallIntegerField()
    text = models.TextField()
    digest = models.CharField(max_length=64)
    at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["line", "plan"], name="one_sizing_per_line_and_plan")]


class Zone(models.Model):
    """The area of one dose line (or of test units) on one plate, on its own raft with its raised code.

    `held_by` is the plan whose reservation of the line it was made under: that of the zones it stands in for, where
    it is a reprint.
    """

    code = models.CharField(max_length=20, unique=True)
    batch = models.ForeignKey(PrintBatch, on_delete=models.PROTECT, related_name="zones")
    line = models.ForeignKey("prescriptions.DoseLine", on_delete=models.PROTECT, null=True, related_name="+")
    sized = models.ForeignKey(SizedLine, on_delete=models.PROTECT, null=True, related_name="zones")
    held_by = models.CharField(max_length=20, blank=True)
    part = models.PositiveSmallIntegerField(default=1)
    parts = models.PositiveSmallIntegerField(default=1)
    wanted = models.PositiveIntegerField()
    spares = models.PositiveIntegerField()
    state = models.CharField(max_length=20, default="open")
    polygon_text = models.TextField()
    removal_order = models.PositiveIntegerField()
    version = models.PositiveIntegerField(default=1)


class PlacedUnit(models.Model):
    """One printed dosage form from its place on the plate to its end; its state is its whole account."""

    code = models.CharField(max_length=20, unique=True)
    zone = models.ForeignKey(Zone, on_delete=models.PROTECT, related_name="units")
    number = models.PositiveIntegerField()
    state = models.CharField(max_length=15, default="planned")
    x_um = models.PositiveIntegerField()
    y_um = models.PositiveIntegerField()
    rotation_deg = models.SmallIntegerField(default=0)
    dose_ng = models.PositiveBigIntegerField()
    predicted_mass_ug = models.PositiveBigIntegerField()
    predicted_content_ng = models.PositiveBigIntegerField()
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["zone", "number"], name="one_unit_per_number_in_zone")]


class PlateFile(models.Model):
    """The file that was written for one batch, as it was read back."""

    append_only = True

    batch = models.ForeignKey(PrintBatch, on_delete=models.PROTECT, related_name="files")
    path = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64)
    size_bytes = models.PositiveBigIntegerField()
    read_back_text = models.TextField()
    written_at = models.DateTimeField()
