"""Directions, clock times and dates in words, against expected texts written by hand and by properties."""

from __future__ import annotations

import tomllib
from datetime import date, time
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dosewright.ground.jurisdictions import load_pack
from dosewright.ground.pure.errors import BadInput, NotThere
from dosewright.ground.pure.notation import number_in_words
from labels import wording
from labels.wording import Directions, FormName
from prescriptions.regimens import AsNeeded, ClockTimes, MealSlot, MealSlots

VECTORS = tomllib.loads((Path(__file__).parents[2] / "vectors" / "label_wording.toml").read_text(encoding="utf-8"))
WORDS = load_pack("demo", "2026.1").wording("en")
TABLET = FormName(one="tablet", many="tablets")


def directions(dose: str = "3", units: int = 1, times=("07:00",), **more) -> Directions:
    clock = ClockTimes(times=tuple(time.fromisoformat(one) for one in times))
    return Directions(form=TABLET, dose_mg=Decimal(dose), units_per_dose=units, **({"timing": clock} | more))


def said(one: Directions, micro_word="micrograms", words=WORDS) -> str:
    return wording.directions_words(one, words=words, micro_word=micro_word)


@pytest.mark.parametrize("case", VECTORS["directions"]["cases"], ids=lambda case: case["text"])
def test_directions_read_as_written_by_hand(case):
    named = {"every_n_days": "every_n_days", "start": "start_date", "stop": "stop_date"}
    more = {name: case[key] for key, name in named.items() if key in case}
    more["weekdays"] = tuple(case.get("weekdays", ()))
    if "slots" in case:
        more["timing"] = MealSlots(slots=tuple(map(MealSlot, case["slots"])))
    if "most" in case:
        hours = Decimal(case["interval_h"])
        more["timing"] = AsNeeded(least_interval_h=hours, most_per_day=case["most"], reason=case["reason"])
    assert said(directions(case["dose"], case["units"], case.get("times", ()), **more)) == case["text"]


@pytest.mark.parametrize("case", VECTORS["clock"]["cases"], ids=lambda case: case["at"])
def test_clock_words(case):
    assert wording.clock_words(time.fromisoformat(case["at"]), WORDS) == case["text"]


def test_every_minute_of_the_day_has_words_of_its_own():
    every = [wording.clock_words(time(hour, minute), WORDS) for hour in range(24) for minute in range(60)]
    assert len(set(every)) == 24 * 60


def test_seconds_are_refused():
    with pytest.raises(BadInput, match="seconds"):
        wording.clock_words(time(7, 0, 30), WORDS)


def test_mcg_where_the_jurisdiction_says_so():
    assert said(directions("0.05"), "mcg") == "Take ONE 50 mcg tablet (50 mcg) at 7 in the morning, every day."


def test_every_slot_has_words_and_a_dose_as_needed_a_reason():
    assert all(f"slot {slot.value}" in WORDS for slot in MealSlot)
    with pytest.raises(BadInput, match="what for"):
        said(directions(timing=AsNeeded(least_interval_h=Decimal(6), most_per_day=4)))


def test_supplies_say_which_they_are_of_how_many():
    assert wording.supply_words(2, 3, WORDS) == "Supply 2 of 3."
    assert wording.supply_words(1, 1, WORDS) == ""


def test_schedules_that_cannot_be_said_are_refused():
    with pytest.raises(BadInput, match="without a time"):
        said(directions(times=()))
    with pytest.raises(BadInput, match="every n days"):
        said(directions(weekdays=(1,), every_n_days=2))
    with pytest.raises(BadInput, match="first day"):
        said(directions(every_n_days=2))


@pytest.mark.parametrize("name", ["unit", "Units", "dosage unit", "", " ", "dose"])
def test_units_are_no_form_name(name):
    with pytest.raises(BadInput, match="form name"):
        FormName(one=name, many="tablets")


@pytest.mark.parametrize(("dose", "units"), [("10", 3), ("1", 7), ("0", 1), ("-1", 1), ("1", 0)])
def test_doses_without_an_exact_strength_are_refused(dose, units):
    with pytest.raises(BadInput):
        wording.unit_strength_mg(Decimal(dose), units)


@pytest.mark.parametrize("count", [0, 21, -1])
def test_counts_outside_one_to_twenty_are_refused(count):
    with pytest.raises(BadInput):
        wording.count_word(count, WORDS)


def test_count_words_are_those_of_the_notation():
    assert [wording.count_word(n, WORDS) for n in range(1, 21)] == [number_in_words(n) for n in range(1, 21)]


def test_dates_quantities_and_missing_words():
    assert wording.period_words(date(2026, 3, 1), date(2026, 3, 28), WORDS) == "From 1 March 2026 to 28 March 2026."
    assert wording.period_words(date(2026, 12, 31), date(2026, 12, 31), WORDS) == "On 31 December 2026 only."
    with pytest.raises(BadInput, match="before the start"):
        wording.period_words(date(2026, 3, 2), date(2026, 3, 1), WORDS)
    assert wording.quantity_words(1, TABLET, WORDS) == "1 tablet"
    assert wording.quantity_words(1200, TABLET, WORDS) == "1,200 tablets"
    with pytest.raises(BadInput):
        wording.quantity_words(0, TABLET, WORDS)
    with pytest.raises(NotThere):
        wording.date_words(date(2026, 3, 1), {"date": "{day} {month}"})


def test_another_language_is_only_another_table():
    words = {
        "take": "{count}/{strength}/{form}/{dose}/{when}",
        "counts": "EINS ZWEI",
        "clock_hours": "24",
        "clock_from_00:00": "{clock} Uhr",
        "at": "um {clock}",
        "and": "{first} und {last}",
        "comma": ", ",
        "every_day": "{times} jeden Tag",
    }
    one = directions("5", 2, ("07:30", "19:00"))
    assert said(one, words=words) == "ZWEI/2.5 mg/tablets/5 mg/um 7:30 Uhr und um 19 Uhr jeden Tag"


@given(
    times=st.lists(
        st.times().map(lambda one: one.replace(second=0, microsecond=0)), min_size=1, max_size=6, unique=True
    ).map(sorted),
    units=st.integers(1, 10),
    strength=st.decimals("0.01", "400", places=2, allow_nan=False),
)
def test_words_say_the_same_administrations(times, units, strength):
    dose = strength * units
    clock = ClockTimes(times=tuple(times))
    text = said(Directions(form=TABLET, dose_mg=dose, units_per_dose=units, timing=clock))
    by_words = {
        wording.clock_words(time(hour, minute), WORDS): time(hour, minute) for hour in range(24) for minute in range(60)
    }
    body = text.partition(") at ")[2].removesuffix(", every day.")
    read = [by_words[part] for part in body.replace(" and at ", ", at ").split(", at ")]
    assert read == times
    assert text.split()[1] == number_in_words(units)
    number, unit = text.partition(" (")[2].partition(") at ")[0].split()
    scale = Decimal(1) if unit == "mg" else Decimal("0.001")
    assert Decimal(number.replace(",", "")) * scale == dose
