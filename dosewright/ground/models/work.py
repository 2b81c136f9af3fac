"""Work for background workers, facts for the next house, and answers already given."""

from __future__ import annotations

from django.db import models


class Work(models.Model):
    """One piece of background work; the row is the queue and the truth."""

    WAITING, LEASED, DONE, FAILED, CANCELLED = "waiting", "leased", "done", "failed", "cancelled"

    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=160)
    key = models.CharField(max_length=120, unique=True)
    payload = models.TextField()
    state = models.CharField(max_length=10, default=WAITING)
    attempts = models.PositiveIntegerField(default=0)
    created_at = models.DateTimeField()
    due_at = models.DateTimeField()
    lease_until = models.DateTimeField(null=True)
    lease_token = models.CharField(max_length=40, blank=True)
    progress = models.CharField(max_length=120, blank=True)
    failure = models.TextField(blank=True)
    done_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [models.Index(fields=["state", "due_at"])]


class Outbox(models.Model):
    """One fact that something happened, written in the transaction that made it true."""

    append_only = True

    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    fact = models.CharField(max_length=60)
    payload = models.TextField()
    at = models.DateTimeField()


class Idempotency(models.Model):
    """One creating request that was answered: the same source and reference get the same answer."""

    append_only = True

    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    source = models.CharField(max_length=120)
    reference = models.CharField(max_length=120)
    request_digest = models.CharField(max_length=64)
    answer = models.CharField(max_length=40)
    at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "source", "reference"], name="one_answer_per_reference")]
