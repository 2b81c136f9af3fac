"""A regimen as it is written: its steps, each one dose with its timing from a day on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from dosewright.ground.pure.quantities import DoseAmount
from prescriptions.timing import Schedule, Timing, dates_of, simplest


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One dose and its timing from ``start_date`` on for ``days`` [days, 1 to 366], both ends included.

    ``every_n_days`` [days, >= 1] counts from the start; ``weekdays`` [1 Monday to 7 Sunday, ISO 8601]
    empty means every day; ``cap_mg`` [mg] is the most one calculated dose may be.
    """

    dose: DoseAmount
    timing: Timing
    start_date: date
    days: int
    every_n_days: int = 1
    weekdays: tuple[int, ...] = ()
    cap_mg: Decimal | None = None

    @property
    def stop_date(self) -> date:
        """The last day of the step, included."""
        return self.start_date + timedelta(days=self.days - 1)

    @property
    def schedule(self) -> Schedule:
        """When its doses are taken, as it was written."""
        return Schedule(timing=self.timing, every_n_days=self.every_n_days, weekdays=self.weekdays)

    def dates(self) -> tuple[date, ...]:
        """The days on which a dose falls, in order."""
        return dates_of(self.start_date, self.stop_date, every_n_days=self.every_n_days, weekdays=self.weekdays)

    def simplest(self) -> Schedule:
        """When its doses are taken, its days in the plainest words."""
        every_n_days, weekdays = simplest(self.dates(), self.every_n_days, self.weekdays)
        return Schedule(timing=self.timing, every_n_days=every_n_days, weekdays=weekdays)


@dataclass(frozen=True, slots=True, kw_only=True)
class Regimen:
    """The steps of an order, in the order they were written."""

    steps: tuple[Step, ...]
