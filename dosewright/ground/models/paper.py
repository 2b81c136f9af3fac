"""Documents that were made, what became of each original, and the counters that number them."""

from __future__ import annotations

from django.db import models


class Document(models.Model):
    """One document as it was made: the exact content it shows, and the file that shows it."""

    append_only = True
    DRAFT, ORIGINAL = "draft", "original"

    code = models.CharField(max_length=20, unique=True)
    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=30)
    number = models.CharField(max_length=30)
    state = models.CharField(max_length=10)
    subject_kind = models.CharField(max_length=30)
    subject = models.CharField(max_length=40)
    content_text = models.TextField()
    content_digest = models.CharField(max_length=64)
    file_digest = models.CharField(max_length=64)
    path = models.CharField(max_length=200)
    made_by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "kind", "number"], name="one_document_per_number")]
        indexes = [models.Index(fields=["subject", "kind"])]


class DocumentIssue(models.Model):
    """What became of one numbered original: issued, then applied, spoiled or returned."""

    append_only = True
    ISSUED, APPLIED, SPOILED, RETURNED = "issued", "applied", "spoiled", "returned"

    document = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="issues")
    what = models.CharField(max_length=10)
    by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["document", "what"], name="one_fate_of_each_kind")]


class Counter(models.Model):
    """The last number given of one series at one site."""

    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    series = models.CharField(max_length=40)
    last = models.PositiveBigIntegerField(default=0)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "series"], name="one_counter_per_series")]


class PackInUse(models.Model):
    """One signing of a jurisdiction pack into use at a site."""

    append_only = True

    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="packs_in_use")
    pack = models.CharField(max_length=20)
    pack_version = models.CharField(max_length=20)
    pack_digest = models.CharField(max_length=64)
    signature = models.ForeignKey("ground.Signature", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
