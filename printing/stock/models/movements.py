"""The stock record: signed movements and the balance they add up to, in whole micrograms."""

from __future__ import annotations

from django.db import models


class StockMovement(models.Model):
    """One movement of material into (+) or out of (-) one account of one lot."""

    append_only = True

    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    lot = models.CharField(max_length=20)
    account = models.CharField(max_length=20)
    amount_ug = models.BigIntegerField()
    why = models.CharField(max_length=60)
    reference = models.CharField(max_length=40)
    by = models.ForeignKey("ground.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["lot", "account"])]


class Balance(models.Model):
    """How much stands on one account of one lot now; changed by conditional UPDATE with its movement."""

    site = models.ForeignKey("ground.Site", on_delete=models.PROTECT, related_name="+")
    lot = models.CharField(max_length=20)
    account = models.CharField(max_length=20)
    amount_ug = models.BigIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["lot", "account"], name="one_balance_per_account"),
            models.CheckConstraint(condition=models.Q(amount_ug__gte=0), name="stock_is_never_negative"),
        ]
