"""Tables of packing, release and supply."""

from __future__ import annotations

from django.db import models


class Pack(models.Model):
    """One container of units of one dose line from one print batch: what the patient gets."""

    code = models.CharField(max_length=20, unique=True)
    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    order = models.ForeignKey("prescriptions.Order", on_delete=models.PROTECT, related_name="packs")
    line = models.ForeignKey("prescriptions.DoseLine", on_delete=models.PROTECT, related_name="packs")
    batch = models.ForeignKey("plates.PrintBatch", on_delete=models.PROTECT, related_name="packs")
    state = models.CharField(max_length=15, default="packing")
    container_lot = models.CharField(max_length=40)
    line_clearance_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    started_at = models.DateTimeField()
    use_by_date = models.DateField()
    version = models.PositiveIntegerField(default=1)


class PackUnit(models.Model):
    """One unit in one pack; a unit is in one pack at most."""

    append_only = True

    pack = models.ForeignKey(Pack, on_delete=models.PROTECT, related_name="contents")
    unit = models.OneToOneField("plates.PlacedUnit", on_delete=models.PROTECT, related_name="packed_in")
    by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()


class SecondScan(models.Model):
    """The second person's scan of zone, container and label of one pack."""

    append_only = True

    pack = models.OneToOneField(Pack, on_delete=models.PROTECT, related_name="second_scan")
    zone_code = models.CharField(max_length=20)
    container_code = models.CharField(max_length=40)
    label_code = models.CharField(max_length=20)
    by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()


class ReleaseRecord(models.Model):
    """What was shown when one pack was released or refused, with every blocker there was."""

    append_only = True

    pack = models.ForeignKey(Pack, on_delete=models.PROTECT, related_name="release_records")
    outcome = models.CharField(max_length=12)
    text = models.TextField()
    digest = models.CharField(max_length=64)
    signature = models.ForeignKey("ground.Signature", on_delete=models.PROTECT, null=True, related_name="+")
    by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()


class Supply(models.Model):
    """One handing over of one pack."""

    append_only = True

    pack = models.OneToOneField(Pack, on_delete=models.PROTECT, related_name="supply")
    to_whom = models.CharField(max_length=40)
    by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()


class TakenBack(models.Model):
    """One return of a supplied pack: how many came back, in what state, why; it goes to quarantine."""

    append_only = True

    pack = models.ForeignKey(Pack, on_delete=models.PROTECT, related_name="taken_back")
    units = models.PositiveIntegerField()
    reason = models.CharField(max_length=200)
    by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
