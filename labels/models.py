"""Tables of packing, release and supply."""

from __future__ import annotations

from django.db import models

from labels.states import DESTROYED, PACKING


class Pack(models.Model):
    """One container of units of one dose line from one zone of one print batch: what the patient gets."""

    code = models.CharField(max_length=20, unique=True)
    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    order = models.ForeignKey("prescriptions.Order", on_delete=models.PROTECT, related_name="packs")
    line = models.ForeignKey("prescriptions.DoseLine", on_delete=models.PROTECT, related_name="packs")
    batch = models.ForeignKey("plates.PrintBatch", on_delete=models.PROTECT, related_name="packs")
    zone = models.ForeignKey("plates.Zone", on_delete=models.PROTECT, related_name="packs")
    state = models.CharField(max_length=15, default=PACKING)
    wanted = models.PositiveIntegerField()
    container_lot = models.CharField(max_length=40)
    line_clearance_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    started_at = models.DateTimeField()
    use_by_date = models.DateField()
    use_by_limit = models.CharField(max_length=80)
    packed_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, null=True, related_name="+")
    packed_at = models.DateTimeField(null=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["zone"], condition=~models.Q(state=DESTROYED), name="one_standing_pack_of_a_zone"
            ),
            models.UniqueConstraint(
                fields=["line_clearance_by"],
                condition=models.Q(state=PACKING),
                name="one_pack_at_a_time_per_person",
            ),
            models.CheckConstraint(condition=models.Q(wanted__gt=0), name="a_pack_holds_units"),
        ]


class PackUnit(models.Model):
    """One unit in one pack; a unit is in one pack at most."""

    append_only = True

    pack = models.ForeignKey(Pack, on_delete=models.PROTECT, related_name="contents")
    unit = models.OneToOneField("plates.PlacedUnit", on_delete=models.PROTECT, related_name="packed_in")
    by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ("pk",)


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
    """What was shown when one pack was released or rejected, as the exact text under the signature."""

    append_only = True
    RELEASED, REJECTED = "released", "rejected"

    pack = models.ForeignKey(Pack, on_delete=models.PROTECT, related_name="release_records")
    outcome = models.CharField(max_length=12)
    text = models.TextField()
    digest = models.CharField(max_length=64)
    signature = models.ForeignKey("ground.Signature", on_delete=models.PROTECT, related_name="+")
    by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ("pk",)
        constraints = [
            models.UniqueConstraint(fields=["pack"], condition=models.Q(outcome="released"), name="released_once")
        ]


class Supply(models.Model):
    """One handing over of one pack; to whom is said by role ("ward 3", "patient"), never by name."""

    append_only = True

    pack = models.OneToOneField(Pack, on_delete=models.PROTECT, related_name="supply")
    to_whom = models.CharField(max_length=40)
    by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()


class TakenBack(models.Model):
    """One return of a supplied pack: how many came back, in what state, why; it goes to quarantine."""

    append_only = True

    pack = models.OneToOneField(Pack, on_delete=models.PROTECT, related_name="taken_back")
    units = models.PositiveIntegerField()
    reason = models.CharField(max_length=200)
    by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()


class PackRemark(models.Model):
    """Why one pack was rejected, quarantined or destroyed, and who saw it destroyed."""

    append_only = True

    pack = models.ForeignKey(Pack, on_delete=models.PROTECT, related_name="remarks")
    what = models.CharField(max_length=15, choices=[(one, one) for one in ("rejected", "quarantined", "destroyed")])
    text = models.CharField(max_length=200)
    witness = models.ForeignKey("ground.User", on_delete=models.PROTECT, null=True, related_name="+")
    by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ("pk",)


class ProductNumber(models.Model):
    """One product as GS1 numbers it: a formulation at one strength [ug per unit]; a number is never used again."""

    append_only = True

    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    formulation = models.CharField(max_length=20)
    unit_ng = models.PositiveBigIntegerField()
    prefix = models.CharField(max_length=12)
    gtin = models.CharField(max_length=14, unique=True)
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["site", "formulation", "unit_ng", "prefix"], name="one_number_per_product")
        ]
