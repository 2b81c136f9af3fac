"""Regimens: lines per dose, times and days; what cannot be meant is refused by name."""

from __future__ import annotations

from collections import Counter
from datetime import date, time, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.quantities import Basis, DoseAmount
from prescriptions.calendar import (
    administrations,
    daily_totals_mg,
    line_administrations,
    summed_mg,
)
from prescriptions.dosing import BodySize, RoundingRule
from prescriptions.regimens import (
    MAX_DAYS,
    MAX_STEPS,
    MAX_TIMES,
    ClockTimes,
    Regimen,
    Step,
    check_regimen,
    dose_lines,
    ordered_doses,
)
from prescriptions.timing import moments_of
from tests.core.prescriptions.builders import START, regimen, step, unequal_day
from tests.core.vectors import load

RULE = RoundingRule(step_mg=Decimal("0.25"), source="invented for the test")


def refusals(value: Regimen) -> list[tuple[str, str]]:
    with pytest.raises(BadInput) as caught:
        dose_lines(value)
    return [(one.field, one.message) for one in caught.value.refusals]


def test_the_unequal_day_makes_three_lines_of_28_and_is_never_averaged() -> None:
    lines = dose_lines(unequal_day())
    assert [(line.dose_mg, line.times, line.count) for line in lines] == [
        (Decimal("3"), (time(7),), 28),
        (Decimal("2"), (time(13),), 28),
        (Decimal("1.75"), (time(19),), 28),
    ]
    assert {(line.start_date, line.stop_date) for line in lines} == {(START, date(2026, 4, 6))}
    assert Decimal("2.25") not in {line.dose_mg for line in lines}


def test_one_dose_at_two_times_shares_a_line_however_it_is_written() -> None:
    for value in (
        regimen(step("5 mg", "08:00", "20:00")),
        regimen(step("5 mg", "20:00"), step("5.0 mg", "08:00")),
    ):
        (line,) = dose_lines(value)
        assert (line.times, line.count) == ((time(8), time(20)), 56)


def test_equal_doses_on_other_days_make_lines_of_their_own() -> None:
    later = START + timedelta(days=28)
    lines = dose_lines(regimen(step("5 mg", "08:00"), step("5 mg", "08:00", start=later)))
    assert [(line.start_date, line.count) for line in lines] == [(START, 28), (later, 28)]


def test_taper_of_nine_weeks() -> None:
    # World J Gastroenterol 2017;23(33):6030-6048, table 2, for 20 kg.
    case = load("body_size")["taper"]
    steps = [
        step(f"{per_kg} mg/kg", "08:00", start=START + timedelta(days=7 * week), days=7)
        for week, per_kg in enumerate(case["mg_per_kg"])
    ]
    taper = regimen(*steps)
    body = BodySize(weight_kg=Decimal(case["weight_kg"]))
    lines = dose_lines(taper, body=body, rule=RULE)
    assert [line.dose_mg for line in lines] == [Decimal(one) for one in case["mg"]]
    assert sum(line.dose_mg * line.count for line in lines) == Decimal(case["total_mg"])
    assert lines[-1].stop_date == START + timedelta(days=62)
    given_mg = daily_totals_mg(administrations(taper, ordered_doses(taper, body=body, rule=RULE)))
    assert len(given_mg) == 63


def test_dates_of_every_n_days_and_weekdays() -> None:
    monday = date(2026, 3, 9)
    assert monday.isoweekday() == 1
    weekly = step("10 mg", "08:00", start=monday, days=28, weekdays=(1,))
    assert weekly.dates() == tuple(monday + timedelta(days=7 * week) for week in range(4))
    other = step("10 mg", "08:00", start=monday, days=7, every_n_days=2)
    assert other.dates() == tuple(monday + timedelta(days=n) for n in (0, 2, 4, 6))
    assert step("10 mg", "08:00", days=1).dates() == (START,)
    assert step("10 mg", "08:00", days=1).stop_date == START


@pytest.mark.parametrize(
    ("value", "place"),
    [
        (regimen(), "regimen.steps"),
        (regimen(*[step("3 mg", "07:00")] * (MAX_STEPS + 1)), "regimen.steps"),
        (regimen(step("3 mg", "07:00", days=0)), "regimen.steps[0].days"),
        (regimen(step("3 mg", "07:00", days=MAX_DAYS + 1)), "regimen.steps[0].days"),
        (regimen(step("3 mg")), "regimen.steps[0].times"),
        (regimen(step("3 mg", "07:00", "07:00")), "regimen.steps[0].times"),
        (
            regimen(step("3 mg", *(f"{hour:02}:00" for hour in range(MAX_TIMES + 1)))),
            "regimen.steps[0].times",
        ),
        (
            regimen(*(step("3 mg", *(f"{hour:02}:{minute}0" for hour in range(1, 5))) for minute in (0, 3))),
            "regimen.steps[1].times",
        ),
        (regimen(step("3 mg", "07:00"), step("2 mg", "07:00")), "regimen.steps[1]"),
        (
            regimen(step("3 mg", "07:00"), step("2 mg", "07:00", start=START + timedelta(days=27))),
            "regimen.steps[1]",
        ),
    ],
)
def test_regimens_refused(value: Regimen, place: str) -> None:
    assert [found for found, _ in refusals(value)] == [place]


def test_regimens_just_inside() -> None:
    assert not check_regimen(regimen(step("3 mg", "07:00", days=MAX_DAYS)))
    assert not check_regimen(regimen(step("3 mg", *(f"{hour:02}:00" for hour in range(MAX_TIMES)))))
    after = START + timedelta(days=28)
    assert not check_regimen(regimen(step("3 mg", "07:00"), step("2 mg", "07:00", start=after)))
    weeks = [step("3 mg", "07:00", days=1, start=START + timedelta(days=n)) for n in range(MAX_STEPS)]
    assert not check_regimen(regimen(*weeks))


def test_a_weekday_that_never_comes_is_refused() -> None:
    never = step("3 mg", "07:00", start=date(2026, 3, 9), days=1, weekdays=(2,))
    assert "no day of the step is one of its weekdays" in [one.message for one in check_regimen(regimen(never))]


def test_every_missing_measure_is_told_at_once() -> None:
    value = regimen(step("2 mg/kg", "07:00"), step("60 mg/m2", "19:00"))
    with pytest.raises(BadInput) as caught:
        dose_lines(value)
    assert [one.field for one in caught.value.refusals] == ["regimen.steps[0].dose", "regimen.steps[1].dose"]


def test_sums_by_day() -> None:
    value = unequal_day()
    totals = daily_totals_mg(administrations(value, ordered_doses(value)))
    assert set(totals.values()) == {Decimal("6.75")}
    both = summed_mg(totals, {START: Decimal("1.25"), START - timedelta(days=1): Decimal(1)})
    assert both[START] == Decimal("8")
    assert both[START - timedelta(days=1)] == 1
    assert list(both) == sorted(both)


hours = st.lists(st.integers(0, 23).map(time), min_size=1, max_size=4, unique=True)
steps = st.builds(
    lambda dose, times, offset, days: Step(
        dose=DoseAmount(value_mg=dose, basis=Basis.ABSOLUTE),
        timing=ClockTimes(times=tuple(times)),
        start_date=START + timedelta(days=offset),
        days=days,
    ),
    st.sampled_from([Decimal("1.75"), Decimal(2), Decimal(3)]),
    hours,
    st.integers(0, 3),
    st.integers(1, 4),
)


@given(st.lists(steps, min_size=1, max_size=5))
def test_lines_hold_exactly_the_administrations_of_the_regimen(some: list[Step]) -> None:
    value = regimen(*some)
    if check_regimen(value):
        moments = Counter((day, at) for one in some for day in one.dates() for at in moments_of(one.timing))
        assert max(moments.values()) > 1, "only an overlap may be refused here"
        return
    try:
        lines = dose_lines(value)
    except BadInput as refused:
        rules = {one.rule for one in refused.refusals}
    else:
        rules = set()
    if rules:
        assert rules == {"too-many-times"}
        assert sum(len(moments_of(one.timing)) for one in some) > MAX_TIMES
        return
    of_lines = Counter(one for line in lines for one in line_administrations(line))
    assert of_lines == Counter(administrations(value, ordered_doses(value)))
    assert sum(line.count for line in lines) == sum(of_lines.values())
    assert len({(line.dose_mg, line.dates) for line in lines}) == len(lines)
