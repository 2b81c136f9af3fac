"""Row ids for foreign keys of the houses on the right, by code."""

from __future__ import annotations

from collections.abc import Sequence

from dosewright.ground.pure.errors import NotThere
from prescriptions.models import DoseLine, Order


def dose_line_ids(site_id: int, codes: Sequence[str]) -> dict[str, int]:
    """Return the row of each dose line by its code; raises NotThere naming the first that is missing."""
    found = dict(DoseLine.objects.filter(order__site_id=site_id, code__in=codes).values_list("code", "pk"))
    for code in codes:
        if code not in found:
            raise NotThere.because("line", "no such dose line at this site", value=code[:40], rule="code")
    return found


def order_id(site_id: int, code: str) -> int:
    """Return the row of an order by its code; raises NotThere."""
    found = Order.objects.filter(site_id=site_id, code=code).values_list("pk", flat=True).first()
    if found is None:
        raise NotThere.because("order", "no such order at this site", value=code[:40], rule="code")
    return found
