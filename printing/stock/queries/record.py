"""Reading the stock record: balances, and whether they are what the movements add up to."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from decimal import Decimal

from django.db.models import Sum

from printing.stock.models import Balance, StockMovement

UG_PER_G = 1_000_000


def balance_ug(lot: str, account: str) -> int:
    """Return what stands on one account of a lot now [ug]."""
    return Balance.objects.filter(lot=lot, account=account).values_list("amount_ug", flat=True).first() or 0


def balances_ug(lot: str) -> Mapping[str, int]:
    """Return every account of a lot with what stands on it [ug]."""
    return dict(Balance.objects.filter(lot=lot).order_by("account").values_list("account", "amount_ug"))


def balances_g(lot: str) -> Mapping[str, Decimal]:
    """Return every account of a lot in grams, exactly."""
    return {account: Decimal(amount) / UG_PER_G for account, amount in balances_ug(lot).items()}


def stock_faults(site_id: int) -> tuple[str, ...]:
    """Return every account whose balance is not the sum of its movements; empty when the record is sound."""
    moved: dict[tuple[str, str], int] = defaultdict(int)
    sums = StockMovement.objects.filter(site_id=site_id).values_list("lot", "account").annotate(Sum("amount_ug"))
    for lot, account, total in sums:
        moved[lot, account] += total
    kept = {
        (lot, account): amount
        for lot, account, amount in Balance.objects.filter(site_id=site_id).values_list("lot", "account", "amount_ug")
    }
    return tuple(
        f"{lot} {account}: moved {moved.get((lot, account), 0)} ug, kept {kept.get((lot, account), 0)} ug"
        for lot, account in sorted({*moved, *kept})
        if moved.get((lot, account), 0) != kept.get((lot, account), 0)
    )
