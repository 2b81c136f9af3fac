"""Regimen -> dose lines -> label words -> the same administrations, read back by a reader of its own."""

from __future__ import annotations

from collections import Counter
from datetime import date, time, timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from dosewright.ground.jurisdictions import load_pack
from dosewright.ground.paper.label import ROLL_100X80, render_label
from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.quantities import Basis, DoseAmount
from labels import wording
from labels.services.paperwork import label_page
from labels.wording import Directions, FormName
from prescriptions.calendar import administrations
from prescriptions.regimen_checks import MAX_TIMES_ON_SOME_DAYS
from prescriptions.regimens import (
    AsNeeded,
    ClockTimes,
    Line,
    MealSlot,
    MealSlots,
    Regimen,
    Step,
    Timing,
    check_regimen,
    dose_lines,
    ordered_doses,
)
from tests.core.labels import label_reader
from tests.core.labels.demo_content import a_label
from tests.core.labels.label_reader import Taken

WORDS = load_pack("demo", "2026.1").wording("en")
TABLET = FormName(one="tablet", many="tablets")
STARTS = (date(2026, 3, 20), date(2028, 2, 25), date(2026, 10, 20), date(2026, 12, 24))
"""Starts before the clocks change, a leap day and a new year."""
PLACES = 3


def label_of(line: Line, units: int) -> label_reader.Label:
    """Return what the label of a line, in ``units`` for each dose, tells the reader."""
    schedule = line.schedule
    directions = Directions(
        form=TABLET,
        dose_mg=line.dose_mg,
        units_per_dose=units,
        timing=schedule.timing,
        every_n_days=schedule.every_n_days,
        weekdays=schedule.weekdays,
        start_date=line.start_date,
        stop_date=line.stop_date,
    )
    said = wording.directions_words(directions, words=WORDS, micro_word="micrograms")
    period = wording.period_words(line.start_date, line.stop_date, WORDS)
    part = wording.supply_words(line.supply, line.supplies, WORDS)
    return label_reader.read(said, f"{period} {part}" if part else period)


def ordered(regimen: Regimen) -> Counter[Taken]:
    """Return the administrations of a regimen as the reader tells them."""
    given_doses = administrations(regimen, ordered_doses(regimen))
    return Counter(
        Taken(one.on_date, one.at.value if isinstance(one.at, MealSlot) else one.at, one.dose_mg) for one in given_doses
    )


def clock(place: int) -> st.SearchStrategy[Timing]:
    """Return clock times that no step at another ``place`` has."""
    minutes = st.integers(0, 24 * 60 // PLACES - 1).map(lambda n: n * PLACES + place)
    times = st.lists(minutes.map(lambda n: time(n // 60, n % 60)), min_size=1, max_size=2, unique=True)
    return times.map(lambda some: ClockTimes(times=tuple(sorted(some))))


def slots() -> st.SearchStrategy[Timing]:
    some = st.lists(st.sampled_from(MealSlot), min_size=1, max_size=4, unique=True)
    return some.map(lambda chosen: MealSlots(slots=tuple(sorted(chosen, key=list(MealSlot).index))))


@st.composite
def needed(draw: st.DrawFn) -> Timing:
    quarters = draw(st.integers(1, 96))
    most = draw(st.integers(1, min(12, 96 // quarters if 96 % quarters == 0 else 96 // quarters + 1)))
    reason = draw(st.sampled_from(["pain", "nausea, not vomiting", "wait at night; an itch"]))
    return AsNeeded(least_interval_h=Decimal(quarters) / 4, most_per_day=most, reason=reason)


@st.composite
def days(draw: st.DrawFn) -> dict[str, object]:
    """Return every day, every n days, or weekdays."""
    kind = draw(st.sampled_from(["every day", "every n days", "weekdays"]))
    if kind == "every n days":
        return {"every_n_days": draw(st.integers(2, 15))}
    chosen = st.lists(st.integers(1, 7), min_size=1, max_size=7, unique=True)
    return {"weekdays": tuple(draw(chosen))} if kind == "weekdays" else {}


@st.composite
def regimens(draw: st.DrawFn) -> Regimen:
    """Return steps after each other and beside each other, none at the same moment as another."""
    start, steps = draw(st.sampled_from(STARTS)), list[Step]()
    for place in range(draw(st.integers(1, PLACES))):
        timing = draw(st.one_of(clock(place), slots(), needed()))
        latest = max((one.stop_date for one in steps), default=start)
        beside = all(isinstance(one, ClockTimes) for one in (timing, *(step.timing for step in steps)))
        first = start if beside and draw(st.booleans()) else latest + timedelta(days=draw(st.integers(1, 9)))
        pattern = {} if isinstance(timing, AsNeeded) else draw(days())
        mg = draw(st.sampled_from(["0.012", "0.06", "0.6", "1.2", "3", "6", "12", "2400"]))
        steps.append(
            Step(
                dose=DoseAmount(value_mg=Decimal(mg), basis=Basis.ABSOLUTE),
                timing=timing,
                start_date=first,
                days=draw(st.integers(7, 40)),
                **pattern,  # type: ignore[arg-type]
            )
        )
    return Regimen(steps=tuple(steps))


ONE_DAY = Regimen(
    steps=(
        Step(
            dose=DoseAmount(value_mg=Decimal(3), basis=Basis.ABSOLUTE),
            timing=ClockTimes(times=(time(0), time(0, 30), time(12), time(23, 59))),
            start_date=date(2028, 2, 29),
            days=1,
        ),
    )
)


@given(regimen=regimens(), units=st.integers(1, 4), supply_days=st.none() | st.integers(5, 30))
@example(regimen=ONE_DAY, units=2, supply_days=None)
def test_labels_say_exactly_the_administrations_of_the_regimen(
    regimen: Regimen, units: int, supply_days: int | None
) -> None:
    faults = check_regimen(regimen)
    if any(step.dates() == () for step in regimen.steps):
        assert faults, "a step without a day is refused"
        return
    assert not faults
    try:
        lines = dose_lines(regimen, supply_days=supply_days)
    except BadInput as refused:
        rules = {one.rule for one in refused.refusals}
    else:
        rules = set()
    if rules:
        assert rules == {"too-many-times"}
        assert sum(len(step.schedule.moments) for step in regimen.steps) > MAX_TIMES_ON_SOME_DAYS
        return
    labels = [label_of(line, units) for line in lines]
    assert Counter(one for label in labels for one in label.doses) == ordered(regimen)
    assert [len(label.doses) for label in labels] == [line.count for line in lines]
    for line, label in zip(lines, labels, strict=True):
        timing = line.schedule.timing
        if isinstance(timing, AsNeeded):
            assert (label.reason, label.hours) == (timing.reason, timing.least_interval_h)


SIX, FOUR = ((time(hour, 35) for hour in some) for some in ((1, 7, 10, 13, 16, 22), (1, 7, 13, 16)))
SIX_TIMES, FOUR_TIMES = ClockTimes(times=tuple(SIX)), ClockTimes(times=tuple(FOUR))
LONGEST = {
    "six times": {"timing": SIX_TIMES},
    "six times on three weekdays": {"timing": SIX_TIMES, "weekdays": (2, 3, 4)},
    "four times on six weekdays": {"timing": FOUR_TIMES, "weekdays": (1, 2, 3, 4, 5, 6)},
    "four times every so many days": {"timing": FOUR_TIMES, "every_n_days": 10},
    "every slot on three weekdays": {"timing": MealSlots(slots=tuple(MealSlot)), "weekdays": (2, 3, 4)},
    "the longest reason": {
        "timing": AsNeeded(least_interval_h=Decimal("1.75"), most_per_day=12, reason="severe nausea " * 4 + "too")
    },
}


@pytest.mark.parametrize("more", LONGEST.values(), ids=LONGEST)
def test_the_longest_directions_that_are_taken_fit_on_the_usual_label(more: dict[str, Any]) -> None:
    first, last = date(2026, 9, 22), date(2026, 12, 29)
    dose = {"form": TABLET, "dose_mg": Decimal("1.75"), "units_per_dose": 1}
    said = Directions(**dose, **more, start_date=first, stop_date=last)
    days = {"start_date": first, "stop_date": last, "use_by_date": last}
    content = a_label(directions=said, **days, supply=2, supplies=3)
    assert render_label(label_page(content, words=WORDS, size=ROLL_100X80)).startswith(b"%PDF")


@pytest.mark.parametrize(
    ("directions", "period"),
    [
        ("Take ONE 3 mg tablet (3 mg) at 7 in the morning.", "From 1 March 2026 to 2 March 2026."),
        ("Take TWO 3 mg tablets (3 mg) at 7 in the morning, every day.", "From 1 March 2026 to 2 March 2026."),
        ("Take ONE 3 mg tablet (3 mg) twice, every day.", "From 1 March 2026 to 2 March 2026."),
        ("Take ONE 3 mg tablet (3 mg) at 7 in the morning, every day.", "For two days."),
        (
            "Take ONE 3 mg tablet (3 mg) at 7 in the morning, every 2 days only: 1 March 2026, then 4 March 2026, "
            "and so on.",
            "From 1 March 2026 to 9 March 2026.",
        ),
    ],
)
def test_the_reader_takes_no_label_that_could_be_misread(directions: str, period: str) -> None:
    with pytest.raises(AssertionError):
        label_reader.read(directions, period)
