"""The audit trail, its chains and the signatures: rows that are only ever added."""

from __future__ import annotations

from django.db import models


class Chain(models.Model):
    """The head of one site's audit chain: how many entries, and the digest of the last one."""

    site = models.OneToOneField("ground.Site", on_delete=models.PROTECT, related_name="chain")
    length = models.PositiveBigIntegerField(default=0)
    head = models.CharField(max_length=64)


class AuditEntry(models.Model):
    """One action: who did or was refused what, when, by which door, to what, and why."""

    append_only = True
    DONE, REFUSED = "done", "refused"

    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    seq = models.PositiveBigIntegerField()
    at = models.DateTimeField()
    actor = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    action = models.CharField(max_length=60)
    outcome = models.CharField(max_length=10)
    subject = models.CharField(max_length=40, blank=True)
    text = models.TextField()
    previous = models.CharField(max_length=64)
    digest = models.CharField(max_length=64, unique=True)

    class Meta:
        ordering = ("site", "seq")
        constraints = [models.UniqueConstraint(fields=["site", "seq"], name="one_entry_per_place_in_chain")]
        indexes = [models.Index(fields=["subject"]), models.Index(fields=["action", "at"])]


class Signature(models.Model):
    """One person's signature under the exact text they were shown, with its meaning."""

    append_only = True

    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    signer = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="signatures")
    printed_name = models.CharField(max_length=120)
    registration = models.CharField(max_length=40, blank=True)
    action = models.CharField(max_length=60)
    meaning = models.CharField(max_length=200)
    subject_kind = models.CharField(max_length=30)
    subject = models.CharField(max_length=40)
    subject_version = models.PositiveIntegerField()
    at = models.DateTimeField()
    shown_text = models.TextField()
    shown_digest = models.CharField(max_length=64)
    digest = models.CharField(max_length=64, unique=True)

    class Meta:
        ordering = ("pk",)
        indexes = [models.Index(fields=["subject", "action"])]


class ReadEntry(models.Model):
    """One look at identifying patient data: who, when, which patient, by which view; sealed hourly into the chain."""

    append_only = True

    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    reader = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    patient = models.CharField(max_length=20)
    view = models.CharField(max_length=60)
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("pk",)
