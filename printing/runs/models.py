"""Tables of the run: what was done, when and by whom, and what was measured."""

from __future__ import annotations

from django.db import models


class RunStep(models.Model):
    """One step of a batch record: a gate, a start, an end, a fault, a removal, a finishing step, a break-off."""

    append_only = True

    batch = models.ForeignKey("plates.PrintBatch", on_delete=models.PROTECT, related_name="steps")
    zone = models.ForeignKey("plates.Zone", on_delete=models.PROTECT, null=True, related_name="steps")
    kind = models.CharField(max_length=20)
    name = models.CharField(max_length=60)
    finish_step = models.ForeignKey("formulary.FinishStep", on_delete=models.PROTECT, null=True, related_name="+")
    equipment = models.ForeignKey("stock.Equipment", on_delete=models.PROTECT, null=True, related_name="+")
    tank_fill = models.ForeignKey("stock.TankFill", on_delete=models.PROTECT, null=True, related_name="+")
    text = models.TextField(default="{}")
    by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ("pk",)
        indexes = [models.Index(fields=["batch", "kind"])]
        constraints = [
            models.UniqueConstraint(
                fields=["batch", "finish_step", "kind"],
                condition=models.Q(finish_step__isnull=False),
                name="one_start_and_one_end_per_finish_step",
            )
        ]


class LayerReport(models.Model):
    """Where a running batch is: layer k of N as the printer or a person last said (no record, overwritten)."""

    batch = models.OneToOneField("plates.PrintBatch", on_delete=models.PROTECT, related_name="layer_report")
    layer = models.PositiveIntegerField()
    layers = models.PositiveIntegerField()
    seconds_left = models.PositiveIntegerField()
    heard_at = models.DateTimeField()


class PrinterSeen(models.Model):
    """What a printer itself says of the file it holds for a batch: its digest, layers and layer height."""

    append_only = True

    batch = models.ForeignKey("plates.PrintBatch", on_delete=models.PROTECT, related_name="seen")
    file_sha256 = models.CharField(max_length=64)
    layers = models.PositiveIntegerField()
    layer_um = models.PositiveIntegerField()
    profile_sha256 = models.CharField(max_length=64)
    at = models.DateTimeField()
    by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")


class Measurement(models.Model):
    """One measured value of one unit or zone; a correction is a new row that names the old one and why."""

    append_only = True

    code = models.CharField(max_length=20, unique=True)
    zone = models.ForeignKey("plates.Zone", on_delete=models.PROTECT, related_name="measurements")
    unit = models.ForeignKey("plates.PlacedUnit", on_delete=models.PROTECT, null=True, related_name="measurements")
    kind = models.CharField(max_length=20, choices=[(one, one) for one in ("mass", "content", "count", "appearance")])
    value_ng = models.BigIntegerField(null=True)
    value_text = models.CharField(max_length=60, blank=True)
    instrument = models.ForeignKey("stock.Equipment", on_delete=models.PROTECT, null=True, related_name="+")
    how = models.CharField(max_length=60)
    by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    corrects = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="corrected_by")
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.UniqueConstraint(
                fields=["unit", "kind"],
                condition=models.Q(corrects=None, unit__isnull=False),
                name="one_first_value_per_unit_and_kind",
            )
        ]


class Verdict(models.Model):
    """One judgement of one zone, with the exact text of what it rests on; the zone's state is moved by it."""

    append_only = True

    zone = models.ForeignKey("plates.Zone", on_delete=models.PROTECT, related_name="verdicts")
    outcome = models.CharField(max_length=10)
    text = models.TextField()
    digest = models.CharField(max_length=64)
    by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ("pk",)


class Deviation(models.Model):
    """One thing that did not go as laid down: what, its effect, whom it concerns, and how it was closed.

    It is of a batch or a lot as a whole, or of the ``zones`` it names; ``holds`` says whether they wait for it.
    """

    code = models.CharField(max_length=20, unique=True)
    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    batch = models.ForeignKey("plates.PrintBatch", on_delete=models.PROTECT, null=True, related_name="deviations")
    zones = models.ManyToManyField("plates.Zone", related_name="deviations")
    resin_lot = models.ForeignKey("stock.ResinLot", on_delete=models.PROTECT, null=True, related_name="deviations")
    kind = models.CharField(max_length=40)
    text = models.TextField()
    effect = models.CharField(max_length=200, blank=True)
    holds = models.BooleanField(default=True)
    state = models.CharField(max_length=10, default="open")
    opened_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()
    concerns = models.ManyToManyField("ground.User", related_name="+")
    investigation = models.TextField(blank=True)
    action_taken = models.TextField(blank=True)
    decision = models.CharField(
        max_length=20, choices=[(one, one) for one in ("may be used", "must not be used")], blank=True
    )
    closed_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, null=True, related_name="+")
    closed_at = models.DateTimeField(null=True)
    version = models.PositiveIntegerField(default=1)
