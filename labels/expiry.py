"""The last day of use: the least of shelf life, raw materials and the law's cap, and it covers the course."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from dosewright.ground.pure.errors import BadInput, Blocked, Refusal
from dosewright.ground.pure.formulas import formula


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpiryFacts:
    """What bounds the last day of use.

    ``studied_days`` [d, > 0] is the shelf life shown by a study in this container, None without one;
    ``default_days`` [d, > 0] is the site's for the refrigerator; ``cap_days`` [d, > 0] the law's, None where
    it sets none; ``materials`` name each raw material with its expiry. Day 0 is the day of making.
    """

    made_on: date
    default_days: int
    studied_days: int | None = None
    cap_days: int | None = None
    materials: tuple[tuple[str, date], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Expiry:
    """The last day on which the product may be used, and what set it."""

    use_by_date: date
    limited_by: str


@formula(
    "use_by",
    inputs={"made_on": "date, day 0", "limit_days": "days, 1 to 3660", "expiries": "list of dates, may be empty"},
    source="USP <795> (2023, read in secondary copies): never later than the shortest expiry of a component",
)
def use_by(made_on: date, limit_days: int, expiries: Sequence[date]) -> date:
    """Return the last day of use: `made_on` plus `limit_days` [d, 1 to 3660], or the earliest of `expiries`.

    Raises BadInput for a limit outside its range or when a component had expired on the day of making.
    Source: USP <795> (2023), beyond-use dates, read in secondary copies; the calendar.

    >>> use_by(date(2026, 1, 15), 180, [date(2026, 5, 31)])
    datetime.date(2026, 5, 31)
    """
    if isinstance(limit_days, bool) or not isinstance(limit_days, int) or not 1 <= limit_days <= 3660:
        raise BadInput(
            Refusal(
                field="limit_days",
                value=str(limit_days),
                unit="d",
                limit="1 to 3660",
                message="is no shelf life in whole days",
                rule="use-by",
            )
        )
    earliest = min([made_on + timedelta(days=limit_days), *expiries])
    if earliest < made_on:
        raise BadInput(
            Refusal(
                field="expiries",
                value=earliest.isoformat(),
                limit=made_on.isoformat(),
                message="a component had expired on the day of making",
                rule="use-by",
            )
        )
    return earliest


def find_expiry(facts: ExpiryFacts) -> Expiry:
    """Return the last day of use and its binding limit; raises BadInput as `use_by` does."""
    limits = {
        "shelf life by study": facts.studied_days,
        "site's default shelf life": facts.default_days if facts.studied_days is None else None,
        "law's cap": facts.cap_days,
    }
    name, days = min(((name, days) for name, days in limits.items() if days is not None), key=lambda one: one[1])
    day = use_by(facts.made_on, days, [expiry for _, expiry in facts.materials])
    binding = next(
        (
            f"expiry of {material}"
            for material, expiry in facts.materials
            if expiry == day and expiry < facts.made_on + timedelta(days=days)
        ),
        name,
    )
    return Expiry(use_by_date=day, limited_by=binding)


def refuse_short_expiry(expiry: Expiry, last_day: date) -> None:
    """Raise Blocked unless the product may be used on `last_day` of the course (that day included)."""
    if expiry.use_by_date < last_day:
        raise Blocked(
            Refusal(
                field="use_by_date",
                value=expiry.use_by_date.isoformat(),
                limit=last_day.isoformat(),
                message=f"the course outlasts the product ({expiry.limited_by})",
                accepted="a supply split into parts, or a product that keeps longer",
                rule="expiry-before-course-ends",
            )
        )
