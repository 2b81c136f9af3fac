"""Opening hours forwards and backwards, and the timetable, against days counted by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dosewright.ground.pure.errors import Refused
from printing.core.layout.hours import Hours
from printing.core.layout.schedule import Day, PrinterNow, Run, Step, latest_start, timetable

HOURS = Hours(zone=UTC, opens_min=8 * 60, closes_min=17 * 60, days=frozenset({1, 2, 3, 4, 5}))
HOUR = 3_600


def at(day: int, hour: int, minute: int = 0) -> datetime:
    """Return a time in January 2030, in which the 4th is a Friday and the 7th a Monday."""
    return datetime(2030, 1, day, hour, minute, tzinfo=UTC)


def test_work_goes_on_in_opening_hours_only() -> None:
    assert HOURS.work(at(3, 10), 2 * HOUR) == at(3, 12)
    assert HOURS.work(at(3, 16), 2 * HOUR) == at(4, 9)
    assert HOURS.work(at(4, 16), 2 * HOUR) == at(7, 9)
    assert HOURS.work(at(5, 3), HOUR) == at(7, 9)
    assert HOURS.work(at(3, 16), HOUR) == at(3, 17)
    assert HOURS.work(at(3, 8), 20 * HOUR) == at(7, 10)


def test_work_is_counted_back_the_same_way() -> None:
    assert HOURS.work_back(at(3, 12), 2 * HOUR) == at(3, 10)
    assert HOURS.work_back(at(4, 9), 2 * HOUR) == at(3, 16)
    assert HOURS.work_back(at(6, 12), HOUR) == at(4, 16)
    assert HOURS.work_back(at(7, 10), 20 * HOUR) == at(3, 8)


def test_a_step_that_somebody_starts_and_ends_waits_for_both() -> None:
    assert HOURS.held(at(3, 10), HOUR) == at(3, 10)
    assert HOURS.held(at(3, 16, 30), HOUR) == at(4, 8)
    assert HOURS.held(at(3, 12), 16 * HOUR) == at(3, 16)
    assert HOURS.held(at(4, 12), 16 * HOUR) == at(7, 16)
    assert HOURS.held_back(at(4, 9), HOUR) == at(4, 8)
    assert HOURS.held_back(at(4, 8, 30), HOUR) == at(3, 16)


def test_a_step_that_can_never_be_held_is_refused() -> None:
    short = Hours(zone=UTC, opens_min=600, closes_min=601, days=frozenset({1}))
    with pytest.raises(Refused, match="never starts and ends"):
        short.held(at(7, 10), HOUR)


def test_a_day_is_the_sites_own_where_clocks_change() -> None:
    """Central Europe put its clocks on in the night to Sunday, 31 March 2030 (EU directive 2000/84/EC)."""
    berlin = Hours(zone=ZoneInfo("Europe/Berlin"), opens_min=480, closes_min=1_020, days=frozenset({1, 5}))
    friday, monday = datetime(2030, 3, 29, 15, 30, tzinfo=UTC), datetime(2030, 4, 1, 6, 30, tzinfo=UTC)
    assert berlin.work(friday, HOUR) == monday
    assert berlin.work_back(monday, HOUR) == friday


@pytest.mark.parametrize(
    ("opens", "closes", "days"),
    [(600, 600, {1}), (600, 540, {1}), (0, 1_441, {1}), (0, 60, set()), (0, 60, {8})],
)
def test_hours_that_are_none_are_refused(opens: int, closes: int, days: set[int]) -> None:
    with pytest.raises(Refused):
        Hours(zone=UTC, opens_min=opens, closes_min=closes, days=frozenset(days))


@settings(max_examples=60, deadline=None)
@given(minute=st.integers(min_value=0, max_value=20_000), seconds=st.integers(min_value=1, max_value=60 * HOUR))
def test_work_back_ends_no_later_and_starts_no_earlier_than_need_be(minute: int, seconds: int) -> None:
    end = at(7, 8) + timedelta(minutes=minute)
    start = HOURS.work_back(end, seconds)
    assert HOURS.work(start, seconds) <= end
    assert HOURS.work(start + timedelta(minutes=1), seconds) > HOURS.work(start, seconds)


def run(number: int = 1, **other: object) -> Run:
    facts: dict[str, object] = {
        "key": (number,),
        "formulation": "FM-A",
        "set_up_s": HOUR,
        "print_s": 2 * HOUR,
        "after": (Step(name="take off", seconds=HOUR, manner="work", place="bench"),),
        "dues": (),
        "printers": ("PR-A",),
    }
    return Run(**(facts | other))  # type: ignore[arg-type]


DAY = Day(hours=HOURS, change_over_s=HOUR)
FREE = (PrinterNow(code="PR-A", free_at=at(3, 8)),)


def test_the_latest_start_is_counted_back_from_when_the_patient_needs_it() -> None:
    """Due at 12: taken off from 11, printed from 9, set up from 8; due at 8: taken off on the day before."""
    assert latest_start(run(dues=(at(4, 12), at(7, 12))), DAY) == at(4, 8)
    assert latest_start(run(dues=(at(4, 8),)), DAY) == at(3, 13)
    assert latest_start(run(), DAY) is None


def test_a_plate_is_printed_by_night_and_taken_off_in_the_morning() -> None:
    found = timetable([run(print_s=12 * HOUR, dues=(at(4, 8),))], FREE, DAY, at(3, 15))
    (slot,) = found.slots
    assert (slot.set_up_at, slot.printed_at, slot.ready_at) == (at(3, 15), at(4, 4), at(4, 9))
    assert slot.late_s == found.late_s == HOUR


def test_the_most_urgent_is_placed_first_and_lateness_counts_every_line() -> None:
    runs = [run(1, dues=(at(7, 12),)), run(2, dues=(at(3, 11), at(3, 11)))]
    found = timetable(runs, FREE, DAY, at(3, 8))
    assert [slot.set_up_at for slot in found.slots] == [at(3, 12), at(3, 8)]
    assert found.late_s == 2 * HOUR


def test_a_change_of_formulation_takes_its_time() -> None:
    held = (PrinterNow(code="PR-A", free_at=at(3, 8), formulation="FM-B"),)
    found = timetable([run(1), run(2)], held, DAY, at(3, 8))
    assert [slot.change_over for slot in found.slots] == [True, False]
    assert found.slots[0].printed_at == at(3, 12)
    assert found.printer_s == 7 * HOUR


def test_an_oven_holds_one_plate_at_a_time() -> None:
    oven = Step(name="dry", seconds=3 * HOUR, manner="held", place="oven")
    runs = [run(n, printers=(code,), after=(oven,)) for n, code in ((1, "PR-A"), (2, "PR-B"))]
    printers = (*FREE, PrinterNow(code="PR-B", free_at=at(3, 8)))
    one = timetable(runs, printers, DAY, at(3, 8))
    two = timetable(runs, printers, Day(hours=HOURS, places={"oven": 2}), at(3, 8))
    assert sorted(slot.ready_at for slot in one.slots) == [at(3, 14), at(3, 17)]
    assert [slot.ready_at for slot in two.slots] == [at(3, 14), at(3, 14)]
