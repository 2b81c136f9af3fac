"""Weight and age: how long a weight holds, what is believable, dates that cannot be."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from dosewright.ground.pure.quantities import Basis
from prescriptions.body_weight import (
    BANDS_SOURCE,
    KG_PER_POUND,
    VALIDITY_SOURCE,
    WEIGHT_BANDS,
    Age,
    age_on,
    believable_kg,
    weight_slip,
    weight_valid_days,
)
from prescriptions.dose_limits import Limit, Per
from prescriptions.findings import Severity
from prescriptions.screening import screen
from tests.core.prescriptions.builders import START
from tests.core.prescriptions.screened import (
    INVENTED,
    LIMITS,
    PATIENT,
    TODAY,
    VECTORS,
    born,
    doses_of,
    facts,
    only,
)


@pytest.mark.parametrize("case", VECTORS["weight_valid"], ids=lambda case: case["on"])
def test_how_long_a_weight_holds(case: dict[str, Any]) -> None:
    assert weight_valid_days(age_on(date(2020, 3, 15), date.fromisoformat(case["on"]))) == case["days"]


@pytest.mark.parametrize("case", VECTORS["weight_valid"], ids=lambda case: case["on"])
@pytest.mark.parametrize("late", [0, 1])
def test_weight_in_date_when_printing_starts(case: dict[str, Any], late: int) -> None:
    birth_date, print_date = date(2020, 3, 15), date.fromisoformat(case["on"])
    weight_date = print_date - timedelta(days=case["days"] + late)
    weight_date = max(weight_date, birth_date)
    found = screen(
        facts(
            patient={"birth_date": birth_date, "weight_date": weight_date},
            print_start_date=print_date,
            today=print_date,
            administrations=doses_of("3 mg", start=print_date),
        )
    )
    stale = [one for one in found if one.rule == "weight-out-of-date"]
    expected = bool(late) and (print_date - weight_date).days > case["days"]
    assert bool(stale) is expected
    if stale:
        grown = print_date >= date(2038, 3, 15)
        assert stale[0].severity == (Severity.REASON if grown else Severity.BLOCK)
        assert (stale[0].limit, stale[0].unit) == (str(case["days"]), "day")
        assert stale[0].source == VALIDITY_SOURCE


def test_an_adults_stale_weight_blocks_where_the_dose_rests_on_it() -> None:
    old = {
        "birth_date": date(1980, 1, 1),
        "weight_kg": Decimal(70),
        "weight_date": START - timedelta(days=400),
    }
    assert only(screen(facts(patient=old))).severity == "reason"
    assert only(screen(facts(patient=old, basis=frozenset({Basis.PER_KG})))).severity == "block"
    limits = (*LIMITS, Limit(per=Per.COURSE, high=Decimal(900), basis=Basis.PER_KG, source=INVENTED))
    assert only(screen(facts(patient=old, substance={"limits": limits}))).severity == "block"


@pytest.mark.parametrize(
    ("weight_date", "wrong"),
    [(TODAY, False), (TODAY + timedelta(days=1), True), (PATIENT.birth_date - timedelta(days=1), True)],
)
def test_a_weight_of_the_future_or_before_birth_blocks(weight_date: date, wrong: bool) -> None:
    found = screen(facts(patient={"weight_date": weight_date}))
    assert [(one.rule, one.severity) for one in found] == ([("weight-date", "block")] if wrong else [])


@pytest.mark.parametrize(("birth_date", "severity"), [(born(216) + timedelta(days=1), "block"), (born(216), "reason")])
def test_a_missing_weight(birth_date: date, severity: str) -> None:
    for gone in ({"weight_kg": None}, {"weight_date": None}):
        one = only(screen(facts(patient={"birth_date": birth_date, **gone})))
        assert (one.rule, one.severity) == ("weight-missing", severity)


@pytest.mark.parametrize("case", VECTORS["typical"], ids=lambda case: str(case["months"]))
@pytest.mark.parametrize("sex", ["female", "male", "other", "unknown"])
def test_typical_weights_are_believable_and_as_pounds_are_not(case: dict[str, Any], sex: str) -> None:
    low, high = believable_kg(Age(days=case["months"] * 30, months=case["months"]), sex)
    weight_kg = Decimal(case["kg"])
    assert low < weight_kg < high
    in_pounds = round(weight_kg / KG_PER_POUND, 1)
    assert in_pounds > high
    assert "pounds entered as kilograms" in (weight_slip(in_pounds, low, high) or "")


@pytest.mark.parametrize(
    ("kg", "rule", "severity", "says"),
    [
        ("16", None, "", ""),
        ("56", None, "", ""),
        ("15.999", "weight-hardly-believable", "reason", "as if they were pounds? that would be 35.27 kg"),
        (
            "56.001",
            "weight-hardly-believable",
            "reason",
            "pounds entered as kilograms? that would be 25.4 kg",
        ),
        ("112", "weight-hardly-believable", "reason", "pounds entered as kilograms? that would be 50.8 kg"),
        ("112.001", "weight-hardly-believable", "block", "pounds"),
        ("8", "weight-hardly-believable", "reason", "as if they were pounds? that would be 17.64 kg"),
        ("7.999", "weight-hardly-believable", "block", "as if they were pounds"),
        ("262", "weight-hardly-believable", "block", "one place too far right? that would be 26.2 kg"),
        ("2.62", "weight-hardly-believable", "block", "one place too far left? that would be 26.2 kg"),
        ("0.3", "weight-hardly-believable", "block", "hardly believable at this age"),
    ],
)
def test_believable_weight_at_eight_years(kg: str, rule: str | None, severity: str, says: str) -> None:
    # The band from memory for 8 years: 16 to 56 kg.
    found = screen(facts(patient={"weight_kg": Decimal(kg)}))
    if rule is None:
        assert found == ()
        return
    one = only(found)
    assert (one.rule, one.severity, one.value, one.unit) == (rule, severity, kg, "kg")
    assert one.limit == "16 to 56"
    assert says in one.message
    assert one.source == BANDS_SOURCE
    assert "from memory" in one.source


def test_bands_rise_and_hold_together() -> None:
    for sex in ("female", "male"):
        bands = [believable_kg(Age(days=0, months=one.from_months), sex) for one in WEIGHT_BANDS]
        assert bands == sorted(bands)
        assert all(low < high for low, high in bands)
    assert [one.from_months for one in WEIGHT_BANDS] == sorted({one.from_months for one in WEIGHT_BANDS})
    low, high = believable_kg(Age(days=8000, months=264), "unknown")
    assert (low, high) == (Decimal(35), Decimal(150))


@pytest.mark.parametrize(("days", "found_rule"), [(-1, False), (0, False), (1, True)])
def test_a_birth_in_the_future_blocks(days: int, found_rule: bool) -> None:
    birth_date = TODAY + timedelta(days=days)
    rules = {one.rule: one.severity for one in screen(facts(patient={"birth_date": birth_date}))}
    assert (rules.get("birth-in-future") == "block") is found_rule
    assert "start-before-birth" not in rules


@pytest.mark.parametrize(("days", "found_rule"), [(0, False), (1, True)])
def test_a_course_before_birth_blocks(days: int, found_rule: bool) -> None:
    birth_date = START + timedelta(days=days)
    rules = {one.rule: one.severity for one in screen(facts(patient={"birth_date": birth_date}))}
    assert (rules.get("start-before-birth") == "block") is found_rule


@pytest.mark.parametrize(
    ("birth", "on", "days", "months"),
    [
        ("2024-02-29", "2025-02-28", 365, 11),
        ("2024-02-29", "2025-03-01", 366, 12),
        ("2026-01-31", "2026-02-28", 28, 0),
        ("2026-01-31", "2026-03-01", 29, 1),
        ("2026-03-10", "2026-03-10", 0, 0),
    ],
)
def test_ages(birth: str, on: str, days: int, months: int) -> None:
    assert age_on(date.fromisoformat(birth), date.fromisoformat(on)) == Age(days=days, months=months)


def test_no_age_before_birth() -> None:
    with pytest.raises(ValueError, match="before birth"):
        age_on(START, START - timedelta(days=1))


@pytest.mark.parametrize(
    ("months", "later_days", "mini", "expected"),
    [
        (6, 1, True, ("age-no-solid", "block")),
        (6, 0, True, ("age-mini-units", "reason")),
        (6, 0, False, ("age-mini-units", "block")),
        (24, 1, True, ("age-mini-units", "reason")),
        (24, 1, False, ("age-mini-units", "block")),
        (24, 0, False, ("age-choking", "inform")),
        (72, 1, False, ("age-choking", "inform")),
        (72, 0, False, None),
    ],
)
def test_age_and_solid_forms(months: int, later_days: int, mini: bool, expected: tuple[str, str] | None) -> None:
    patient = {
        "birth_date": born(months) + timedelta(days=later_days),
        "weight_date": START - timedelta(days=3),
    }
    found = screen(facts(patient=patient, mini_units=mini, print_start_date=START - timedelta(days=3)))
    assert [(one.rule, one.severity) for one in found if one.rule.startswith("age")] == ([expected] if expected else [])
