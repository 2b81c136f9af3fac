"""What a FHIR R4 dispenseRequest asks to be supplied, held against the order's own calendar.

The count of units comes from the calendar; a quantity, a duration or repeats that say something else are a
contradiction that only the prescriber can mend.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.errors import Refusal
from prescriptions.intake.fhir_elements import Element
from prescriptions.intake.order_request import OrderRequest
from prescriptions.regimens import AsNeeded, ClockTimes, Step

COUNTED: Final = frozenset(
    {"TAB", "CAP", "{tbl}", "{tablet}", "{capsule}", "{dose}", "1", "tablet", "tablets", "tab", "capsule", "capsules"}
    | {"dose", "doses", "unit", "units", "each", "EA"}
)
"""Words and codes for pieces, as they are met beside a quantity."""
DAYS_OF: Final = {"d": 1, "day": 1, "days": 1, "wk": 7, "week": 7, "weeks": 7}


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyAsked:
    """How much is to be supplied, as far as it is said; ``days`` [days] is the most of one of several supplies."""

    path: str = ""
    quantity: Decimal | None = None
    lasts_days: int | None = None
    repeats: int = 0
    valid_from: date | None = None
    valid_to: date | None = None

    @property
    def days(self) -> Decimal | None:
        """The most days of one supply where there are several."""
        return Decimal(self.lasts_days) if self.repeats and self.lasts_days else None


def read_supply(request: Element) -> SupplyAsked:
    """Return what ``dispenseRequest`` asks; refusals are noted on the element."""
    asked = request.child("dispenseRequest")
    if asked is None:
        return SupplyAsked()
    asked.not_taken("initialFill", "dispenseInterval", because="a first supply of its own kind is not made here")
    repeats = asked.count("numberOfRepeatsAllowed") or 0
    lasts_days, quantity = _lasts(asked), _quantity(asked)
    start, end = _validity(asked)
    if repeats and lasts_days is None and "expectedSupplyDuration" not in asked:
        message = "repeats are taken only with the days that one supply lasts"
        accepted = "expectedSupplyDuration, so that all supplies together are the course"
        asked.refuse("numberOfRepeatsAllowed", message, value=repeats, accepted=accepted, rule="supply")
    asked.pass_over("performer")
    asked.close()
    return SupplyAsked(
        path=asked.path, quantity=quantity, lasts_days=lasts_days, repeats=repeats, valid_from=start, valid_to=end
    )


def check_supply(request: OrderRequest, asked: SupplyAsked) -> list[Refusal]:
    """Return a refusal for everything asked that the calendar of ``request`` contradicts."""
    steps = request.regimen.steps
    start, end = min(one.start_date for one in steps), max(one.stop_date for one in steps)
    days, supplies = (end - start).days + 1, asked.repeats + 1
    found: list[Refusal] = []

    def refuse(name: str, message: str, value: str, accepted: str) -> None:
        place = f"{asked.path}.{name}"
        found.append(Refusal(field=place, message=message, value=value, accepted=accepted, rule="supply"))

    if asked.lasts_days is not None and asked.lasts_days * supplies != days:
        message = "the supplies last another time than the course"
        value = f"{supplies} x {asked.lasts_days} days"
        refuse("expectedSupplyDuration", message, value, f"{days} days in all, {start} to {end}")
    count = sum(_administrations(one) for one in steps)
    if asked.quantity is not None and asked.quantity * supplies != count:
        message = "the quantity is another than the doses of the course"
        value = f"{supplies} x {decimal_text(asked.quantity)}"
        refuse("quantity", message, value, f"{count} doses in all, counted from the calendar")
    outside = (asked.valid_from and start < asked.valid_from) or (asked.valid_to and start > asked.valid_to)
    if outside:
        value = f"{asked.valid_from or '...'} to {asked.valid_to or '...'}"
        refuse("validityPeriod", "the course begins outside it", value, f"a period with {start} in it")
    return found


def _administrations(step: Step) -> int:
    timing = step.timing
    if isinstance(timing, AsNeeded):
        return len(step.dates()) * timing.most_per_day
    return len(step.dates()) * len(timing.times if isinstance(timing, ClockTimes) else timing.slots)


def _lasts(asked: Element) -> int | None:
    lasts = asked.child("expectedSupplyDuration")
    if lasts is None:
        return None
    value, code, unit = lasts.number("value"), lasts.text("code"), lasts.text("unit")
    lasts.not_taken("comparator", because="a bound is no duration")
    lasts.pass_over("system")
    lasts.close()
    length = DAYS_OF.get(code or unit or "")
    if value is None or length is None or value != value.to_integral_value():
        message, accepted = "this is no whole number of days", "whole days (d) or weeks (wk)"
        lasts.refuse("value", message, value=value, accepted=accepted, rule="supply")
        return None
    return int(value) * length


def _quantity(asked: Element) -> Decimal | None:
    quantity = asked.child("quantity")
    if quantity is None:
        return None
    value, code, unit = quantity.number("value"), quantity.text("code"), quantity.text("unit")
    quantity.not_taken("comparator", because="a bound is no quantity")
    quantity.pass_over("system")
    quantity.close()
    if value is None or (code or unit or "1") not in COUNTED:
        accepted = "a count of doses; or leave it out, for doses are counted from the calendar"
        written = f"{'?' if value is None else decimal_text(value)} {code or unit or ''}".strip()
        asked.refuse("quantity", "this is no count of doses", value=written, accepted=accepted, rule="supply")
        return None
    return value


def _validity(asked: Element) -> tuple[date | None, date | None]:
    period = asked.child("validityPeriod")
    if period is None:
        return None, None
    start, end = period.day("start"), period.day("end", ends=True)
    period.close()
    return _day(period, "start", start), _day(period, "end", end)


def _day(period: Element, name: str, text: str | None) -> date | None:
    try:
        return None if text is None else date.fromisoformat(text)
    except ValueError:
        period.refuse(name, "this is no day", value=text, accepted="a day such as 2026-03-31", rule="date")
        return None
