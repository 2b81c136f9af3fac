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
    ("months", "later_days", "expected"),
    [
        (6, 1, ("age-no-solid", "block")),
        (6, 0, ("age-mini-units", "reason")),
        (24, 1, ("age-mini-units", "reason")),
        (24, 0, ("age-choking", "inform")),
        (72, 1, ("age-choking", "inform")),
        (72, 0, None),
    ],
)
def test_age_and_solid_forms(months: int, later_days: int, expected: tuple[str, str] | None) -> None:
    patient = {
        "birth_date": born(months) + timedelta(days=later_days),
        "weight_date": START - timedelta(days=3),
    }
    found = screen(facts(patient=patient, print_start_date=START - timedelta(days=3)))
    assert [(one.rule, one.severity) for one in found if one.rule.startswith("age")] == ([expected] if expected else [])


def after(kg: str, days: int = 30) -> dict[str, Any]:
    """Return a patient of 26.2 kg who weighed `kg` some days before."""
    assert PATIENT.weight_date is not None
    return {"earlier_weight_kg": Decimal(kg), "earlier_weight_date": PATIENT.weight_date - timedelta(days=days)}


@pytest.mark.parametrize(
    ("patient", "says"),
    [
        (after("26.2"), None),
        (after("20.96"), None),  # 25 % more
        (after("20.95"), "26.2 kg after 20.95 kg, 30 days apart"),
        (after("34.93"), None),  # 24.99 % less
        (after("34.94"), "26.2 kg after 34.94 kg"),
        (after("20.95", days=180), "180 days apart"),
        (after("20.95", days=181), None),
        (after("11.9", days=181), "pounds entered as kilograms"),
        (after("57.8", days=400), "pounds entered as kilograms"),
        (after("262", days=400), "a decimal point in another place"),
        (after("2.62", days=400), "a decimal point in another place"),
        ({"earlier_weight_kg": Decimal(2)}, None),
    ],
)
def test_a_weight_against_the_one_before(patient: dict[str, Any], says: str | None) -> None:
    found = screen(facts(patient=patient))
    if says is None:
        assert found == ()
        return
    one = only(found)
    assert (one.rule, one.severity, one.limit, one.unit) == ("weight-change", "reason", "25", "%")
    assert says in one.message


@pytest.mark.parametrize(("later_days", "found_rule"), [(1, False), (0, True)])
def test_children_under_two_grow_as_they_do(later_days: int, found_rule: bool) -> None:
    patient = {
        "birth_date": born(24) + timedelta(days=later_days),
        "weight_kg": Decimal(12),
        "weight_date": START - timedelta(days=3),
        "earlier_weight_kg": Decimal(9),
        "earlier_weight_date": START - timedelta(days=120),
    }
    found = screen(facts(patient=patient, print_start_date=START - timedelta(days=3)))
    assert ("weight-change" in {one.rule for one in found}) is found_rule


def test_a_pound_for_a_kilogram_inside_the_band_of_a_grown_up_is_found() -> None:
    """50 kg written as 110 (pounds) is believable at 40 years; only the weight before shows it."""
    grown = {"birth_date": date(1986, 1, 1), "weight_kg": Decimal(110), "height_cm": Decimal(165)}
    assert screen(facts(patient=grown)) == ()
    one = only(screen(facts(patient=grown | after("50", days=900))))
    assert "pounds entered as kilograms" in one.message


@pytest.mark.parametrize(
    ("kg", "cm", "silent"),
    [("28", "200", True), ("27.9", "200", False), ("20", "50", True), ("20.1", "50", False)],  # 7 and 80 kg/m2 exactly
)
def test_believable_height_at_its_bounds(kg: str, cm: str, silent: bool) -> None:
    found = screen(facts(patient={"weight_kg": Decimal(kg), "height_cm": Decimal(cm)}))
    assert [one.rule for one in found] == ([] if silent else ["height-hardly-believable"])


@pytest.mark.parametrize(
    ("cm", "index", "says"),
    [
        # 26.2 kg: 7 kg/m2 at 193.5 cm, 80 kg/m2 at 57.2 cm.
        ("193.4", None, ""),
        ("193.5", "7", ""),
        ("194", "7", "194 cm is hardly believable for 26.2 kg"),
        ("57.3", None, ""),
        ("57.2", "80.1", ""),
        ("51.6", "98.4", "inches entered as centimetres? that would be 131.1 cm"),
    ],
)
@pytest.mark.parametrize("basis", [Basis.ABSOLUTE, Basis.PER_M2])
def test_believable_height(cm: str, index: str | None, says: str, basis: Basis) -> None:
    found = screen(facts(patient={"height_cm": Decimal(cm)}, basis=frozenset({basis})))
    if index is None:
        assert found == ()
        return
    one = only(found)
    assert (one.rule, one.value, one.limit, one.unit) == ("height-hardly-believable", index, "7 to 80", "kg/m2")
    assert one.severity == ("reason" if basis is Basis.PER_M2 else "inform")
    assert says in one.message
