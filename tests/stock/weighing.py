"""Starting a resin lot and weighing its first line, for tests."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from printing.stock import services
from tests.cast import NOW, Bench, Cast


def started(cast: Cast, bench: Bench, *, target_g: Decimal = Decimal(500)) -> str:
    """Start a lot of the bench (Tomas) and return its code."""
    return services.start_resin_lot(cast.tomas, formulation=bench.formulation, target_g=target_g, at=NOW).code


def weigh_first(cast: Cast, bench: Bench, lot: str, **changes: Any) -> services.LotAnswer:
    """Weigh the first line of the sheet as asked, or with `changes` (Tomas)."""
    given: dict[str, Any] = {
        "item_number": 1,
        "ingredient_lot": bench.lots[0],
        "actual_mg": Decimal(325000),
        "balance": bench.coarse,
        "at": NOW,
    }
    return services.weigh(cast.tomas, lot, **{**given, **changes})
