"""What is taken when: the administrations of a regimen, and what they add up to.

Times are the patient's local clock; a dose at 07:00 stays at 07:00 when clocks change. Doses as needed are
counted as many as there may be, so that no total is ever too low.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from prescriptions.dosing import OrderedDose
from prescriptions.regimens import Line, Regimen
from prescriptions.timing import Moment, moment_place, moments_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Administration:
    """One dose at one moment: ``on_date`` and ``at`` local, ``dose_mg`` [mg, > 0]."""

    on_date: date
    at: Moment
    dose_mg: Decimal


def in_order(given: Iterable[Administration]) -> tuple[Administration, ...]:
    """Return administrations in order of time."""
    return tuple(sorted(given, key=lambda one: (one.on_date, moment_place(one.at), one.dose_mg)))


def administrations(regimen: Regimen, doses: Sequence[OrderedDose]) -> tuple[Administration, ...]:
    """Return every dose of ``regimen`` in order of time; ``doses`` are those of its steps, one each."""
    return given_of(regimen, [dose.ordered_mg for dose in doses])


def given_of(regimen: Regimen, doses_mg: Sequence[Decimal]) -> tuple[Administration, ...]:
    """Return every dose of ``regimen`` in order of time; ``doses_mg`` [mg] are the ordered doses of its steps."""
    return in_order(
        Administration(on_date=day, at=at, dose_mg=dose_mg)
        for step, dose_mg in zip(regimen.steps, doses_mg, strict=True)
        for day in step.dates()
        for at in moments_of(step.timing)
    )


def line_administrations(line: Line) -> tuple[Administration, ...]:
    """Return every dose of ``line`` in order of time; their number is the line's count."""
    return tuple(
        Administration(on_date=day, at=at, dose_mg=line.dose_mg) for day in line.dates for at in line.schedule.moments
    )


def daily_totals_mg(given: Iterable[Administration]) -> dict[date, Decimal]:
    """Return the dose of each day on which one falls [mg], by date."""
    totals: defaultdict[date, Decimal] = defaultdict(Decimal)
    for one in given:
        totals[one.on_date] += one.dose_mg
    return dict(sorted(totals.items()))


def summed_mg(*totals: Mapping[date, Decimal]) -> dict[date, Decimal]:
    """Return the sum by day [mg] of the daily totals of several orders."""
    summed: defaultdict[date, Decimal] = defaultdict(Decimal)
    for one in totals:
        for day, dose_mg in one.items():
            summed[day] += dose_mg
    return dict(sorted(summed.items()))
