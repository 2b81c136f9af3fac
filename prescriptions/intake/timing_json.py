"""A timing and its days in the order JSON, both ways."""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal
from typing import Any, Final

from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.errors import BadInput, Refusal
from dosewright.ground.pure.quantities import parse_decimal
from prescriptions.intake.reading import (
    Reader,
    built,
    choice_of,
    item_of,
    read_count,
    read_list,
    read_time,
    shown,
    text_of,
    within,
    without_none,
)
from prescriptions.timing import WEEKDAYS, AsNeeded, ClockTimes, MealSlot, MealSlots, Schedule, Timing

TIMING_NAMES: Final = ("times", "slots", "as_needed")
DAYS_NAMES: Final = ("every_n_days", "weekdays")
AS_NEEDED_NAMES: Final = ("least_interval", "most_per_day", "reason")
_HOURS: Final = re.compile(r"([0-9.]+) ?h")

ReadNested = Callable[[object, str, list[Refusal]], Any]


def read_timing(reader: Reader) -> Any:
    """Read the one timing that a step states; refuses none and more than one."""
    stated = [name for name in TIMING_NAMES if reader.found.get(name) is not None]
    if len(stated) != 1:
        if reader.is_object:
            reader.refuse(
                stated[1] if stated else "times",
                "the timing is stated twice" if stated else "this is missing",
                value=", ".join(stated) or None,
                accepted=f"one of {', '.join(TIMING_NAMES)}",
                rule="timing" if stated else "missing",
            )
        return None
    return reader.read(stated[0], within(reader.refusals, _READERS[stated[0]]))


def read_every_n_days(reader: Reader) -> int:
    """Read on every how many days a dose falls; left out means every day."""
    return reader.read("every_n_days", read_count, needed=False) or 1


def read_weekdays(reader: Reader) -> tuple[int, ...]:
    """Read the weekdays by name, as ISO 8601 counts them; left out means any day."""
    return reader.read("weekdays", within(reader.refusals, _weekdays), needed=False) or ()


def schedule_as_json(schedule: Schedule) -> dict[str, Any]:
    """Return a timing and its days as the order JSON has them."""
    return timing_as_json(schedule.timing) | without_none(
        every_n_days=None if schedule.every_n_days == 1 else schedule.every_n_days,
        weekdays=[WEEKDAYS[day - 1] for day in schedule.weekdays] or None,
    )


def timing_as_json(timing: Timing) -> dict[str, Any]:
    """Return a timing as the order JSON has it."""
    if isinstance(timing, ClockTimes):
        return {"times": [at.strftime("%H:%M") for at in timing.times]}
    if isinstance(timing, MealSlots):
        return {"slots": [slot.value for slot in timing.slots]}
    return {
        "as_needed": without_none(
            least_interval=f"{decimal_text(timing.least_interval_h)} h",
            most_per_day=timing.most_per_day,
            reason=timing.reason or None,
        )
    }


def read_schedule(value: object) -> Schedule:
    """Return the schedule that `schedule_as_json` wrote; raises BadInput for anything else."""
    refusals: list[Refusal] = []
    reader = Reader(value, "schedule", (*TIMING_NAMES, *DAYS_NAMES), refusals)
    timing, weekdays = read_timing(reader), read_weekdays(reader)
    every_n_days = read_every_n_days(reader)
    if refusals:
        raise BadInput(*refusals)
    return Schedule(timing=timing, every_n_days=every_n_days, weekdays=weekdays)


def _items(value: object, place: str, refusals: list[Refusal], how: Callable[[object, str], Any]) -> list[Any] | None:
    read = [item_of(how, one, f"{place}[{n}]", refusals) for n, one in enumerate(read_list(value, place))]
    return None if None in read else read


def _times(value: object, place: str, refusals: list[Refusal]) -> Any:
    times = _items(value, place, refusals, read_time)
    return None if times is None else ClockTimes(times=tuple(sorted(times)))


def _slots(value: object, place: str, refusals: list[Refusal]) -> Any:
    names = _items(value, place, refusals, choice_of([slot.value for slot in MealSlot]))
    return None if names is None else MealSlots(slots=tuple(sorted((MealSlot(one) for one in names), key=_of_day)))


def _of_day(slot: MealSlot) -> int:
    return list(MealSlot).index(slot)


def _weekdays(value: object, place: str, refusals: list[Refusal]) -> Any:
    names = _items(value, place, refusals, choice_of(WEEKDAYS))
    return None if names is None else tuple(sorted(WEEKDAYS.index(one) + 1 for one in names))


def _as_needed(value: object, place: str, refusals: list[Refusal]) -> Any:
    reader = Reader(value, place, AS_NEEDED_NAMES, refusals)
    parts = {
        "least_interval_h": reader.read("least_interval", _hours),
        "most_per_day": reader.read("most_per_day", read_count),
        "reason": reader.read("reason", text_of(60), needed=False) or "",
    }
    return built(AsNeeded, parts, "least_interval_h", "most_per_day")


def _hours(value: object, place: str) -> Decimal:
    """Read a time between doses as text with its unit."""
    found = _HOURS.fullmatch(value) if isinstance(value, str) else None
    if found is None:
        message = "this is no time between doses"
        accepted = 'hours as text with their unit, such as "6 h" or "1.5 h"'
        raise BadInput.because(place, message, value=shown(value), accepted=accepted, rule="interval")
    return parse_decimal(found[1], field=place)


_READERS: Final[dict[str, ReadNested]] = {"times": _times, "slots": _slots, "as_needed": _as_needed}
