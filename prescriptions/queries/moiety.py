"""What else a patient takes of a moiety: other active orders, their doses by day, and the order before.

Doses of one moiety add up over all substances that it is ordered as: each is taken over as mass of the moiety.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Final

from dosewright.ground.models import Signature
from dosewright.ground.pure.errors import NotThere
from dosewright.ground.pure.quantities import plain
from prescriptions.calendar import daily_totals_mg, summed_mg
from prescriptions.dosing import to_nanogram
from prescriptions.models import Order, OrderVersion, Substance
from prescriptions.queries.facts import current_version
from prescriptions.queries.regimen import administrations_of
from prescriptions.screen_facts import EarlierOrder
from prescriptions.states import ACTIVE

WEEK: Final = timedelta(days=6)
"""How far around a course a once-a-week substance is looked for: a seventh day is a week later."""


def other_versions(version: OrderVersion) -> tuple[OrderVersion, ...]:
    """Return the current versions of the patient's other active orders of the moiety, near in time.

    For a once-a-week substance the week on either side counts too.
    """
    near = _margin(version)
    return tuple(one for one in _of_moiety(version, ACTIVE) if overlap(one, version, near))


def other_daily_mg(version: OrderVersion, others: Sequence[OrderVersion]) -> dict[date, Decimal]:
    """Return the daily totals of `others` [mg as `version` expresses doses] on the days near its course."""
    near = _margin(version)
    first, last = version.starts_on - near, version.ends_on + near
    totals = summed_mg(*(_daily_mg(one, version.substance) for one in others))
    return {day: dose_mg for day, dose_mg in totals.items() if first <= day <= last}


def earlier_order(version: OrderVersion) -> EarlierOrder | None:
    """Return the patient's order of the moiety that began last before `version` and was once verified, if any."""
    before = [one for one in _of_moiety(version, None) if one.starts_on < version.starts_on]
    codes = [one.order.code for one in before]
    verified = set(Signature.objects.filter(action="order.verify", subject__in=codes).values_list("subject", flat=True))
    known = [one for one in before if one.order.code in verified]
    if not known:
        return None
    last = max(known, key=lambda one: (one.starts_on, one.order.code))
    return EarlierOrder(order=last.order.code, highest_daily_mg=max(_daily_mg(last, version.substance).values()))


def daily_elsewhere_mg(order_code: str) -> Decimal:
    """Return the most that the patient takes in a day of other active orders that one formulation holds [mg].

    Those of the same substance and release, on the days of this order; raises NotThere.
    """
    order = Order.objects.select_related("patient", "site").filter(code=order_code).first()
    if order is None:
        raise NotThere.because("order", "no such record", value=order_code[:40], rule="code")
    version = current_version(order)
    others = [
        one
        for one in other_versions(version)
        if one.substance_id == version.substance_id and one.release == version.release and overlap(one, version)
    ]
    return max(other_daily_mg(version, others).values(), default=Decimal(0))


def overlap(one: OrderVersion, other: OrderVersion, margin: timedelta = timedelta(0)) -> bool:
    """Say whether two courses share a day, or lie within `margin` of each other."""
    return one.starts_on - margin <= other.ends_on and other.starts_on - margin <= one.ends_on


def _of_moiety(version: OrderVersion, states: tuple[str, ...] | None) -> list[OrderVersion]:
    found = OrderVersion.objects.select_related("order", "substance").filter(
        order__patient_id=version.order.patient_id,
        substance__site_id=version.substance.site_id,
        substance__moiety=version.substance.moiety,
    )
    if states is not None:
        found = found.filter(order__state__in=states)
    rows = found.exclude(order_id=version.order_id).order_by("order__code", "number")
    return [one for one in rows if one.number == one.order.current]


def _margin(version: OrderVersion) -> timedelta:
    return WEEK if version.substance.weekly_only else timedelta(0)


def _daily_mg(one: OrderVersion, as_in: Substance) -> dict[date, Decimal]:
    """Return daily totals as mass of the moiety, written as `as_in` expresses it [mg]."""
    totals = daily_totals_mg(administrations_of(one))
    if one.substance_id == as_in.pk:
        return totals
    share = plain(one.substance.moiety_frac) / plain(as_in.moiety_frac)
    return {day: to_nanogram(dose_mg * share) for day, dose_mg in totals.items()}
