"""Plain builders of regimens and facts for the tests of this folder; all people and doses are invented."""

from __future__ import annotations

from datetime import date, time
from typing import Any

from dosewright.ground.pure.quantities import parse_dose_amount
from prescriptions.regimens import ClockTimes, Regimen, Step

START = date(2026, 3, 10)


def step(dose: str, *times: str, start: date = START, days: int = 28, **more: Any) -> Step:
    """Return one step at clock times."""
    clock = ClockTimes(times=tuple(time.fromisoformat(one) for one in times))
    return Step(
        **{
            "dose": parse_dose_amount(dose, field="dose"),
            "timing": clock,
            "start_date": start,
            "days": days,
            **more,
        }
    )


def regimen(*steps: Step) -> Regimen:
    """Return a regimen of ``steps``."""
    return Regimen(steps=steps)


def unequal_day() -> Regimen:
    """Return the day of three unequal doses that issue and demo share."""
    return regimen(step("3 mg", "07:00"), step("2 mg", "13:00"), step("1.75 mg", "19:00"))
