"""The sizes of an order's lines as people are shown them: as planned, else as first worked out."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import F

from prescriptions.models import DoseLine, ScreenReport
from printing.plates.models import SizedLine
from printing.plates.sizes import read_size


@dataclass(frozen=True, slots=True, kw_only=True)
class LineSize:
    """One line's dose [mg] and kept size; `resin_lot` is the lot it was sized with, empty for a provisional size.

    Numbers of the size stand as text.
    """

    line: str
    dose_mg: Decimal
    size: Mapping[str, Any]
    resin_lot: str


def sizes_of_order(order: str) -> tuple[LineSize, ...]:
    """Return the size of every line of the version of an order that holds now, where it has one."""
    rows = DoseLine.objects.filter(order__code=order, order_version__number=F("order__current")).order_by("number")
    first, found = _provisional(order), []
    for row in rows:
        planned = SizedLine.objects.filter(line=row).select_related("resin_lot").order_by("-pk").first()
        size = read_size(planned.text) if planned else first.get(row.code)
        if size:
            lot = planned.resin_lot.code if planned else ""
            found.append(LineSize(line=row.code, dose_mg=row.dose_mg, size=size, resin_lot=lot))
    return tuple(found)


def _provisional(order: str) -> dict[str, Mapping[str, Any]]:
    report = (
        ScreenReport.objects.filter(order_version__order__code=order, screen="making", occasion="order")
        .order_by("-order_version__number", "-pk")
        .first()
    )
    lines = json.loads(report.text)["record"].get("lines", []) if report else []
    return {one["line"]: one["size"] for one in lines if one["size"]}
