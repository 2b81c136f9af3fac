"""Every rule of the screen "patient", just under, at and just over; silence where nothing is wrong."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

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
from prescriptions.calendar import Administration, administrations
from prescriptions.dose_limits import Limit, Per, Severities
from prescriptions.findings import Finding, Severity
from prescriptions.regimens import Regimen, ordered_doses
from prescriptions.screen_facts import (
    Allergies,
    AllergyEntry,
    PatientFacts,
    ScreenInput,
    SiteRules,
    SubstanceFacts,
)
from prescriptions.screening import screen
from tests.core.prescriptions.builders import START, regimen, step, unequal_day
from tests.core.vectors import load

VECTORS = load("screening")
TODAY = START - timedelta(days=5)
INVENTED = "invented for the demo"
LIMITS = (
    Limit(per=Per.DOSE, low=Decimal("0.5"), high=Decimal(10), source=INVENTED),
    Limit(per=Per.DAY, low=Decimal(2), high=Decimal(20), source=INVENTED),
)
PATIENT = PatientFacts(
    birth_date=date(2017, 5, 4),
    sex="female",
    allergies=Allergies(status="none"),
    swallowing="solids",
    weight_kg=Decimal("26.2"),
    weight_date=START - timedelta(days=10),
    height_cm=Decimal(131),
)
SUBSTANCE = SubstanceFacts(name="hydrocortisone", names=("cortisol",), limits=LIMITS)


def given_doses(value: Regimen) -> tuple[Administration, ...]:
    return administrations(value, ordered_doses(value))


def facts(
    *, patient: dict[str, Any] | None = None, substance: dict[str, Any] | None = None, **more: Any
) -> ScreenInput:
    """Return an order that raises no alert, with the named facts changed."""
    usual = ScreenInput(
        patient=replace(PATIENT, **(patient or {})),
        substance=replace(SUBSTANCE, **(substance or {})),
        administrations=given_doses(unequal_day()),
        basis=frozenset({Basis.ABSOLUTE}),
        release_ordered="immediate",
        release_made="immediate",
        today=TODAY,
        print_start_date=START - timedelta(days=2),
    )
    return replace(usual, **more)


def doses_of(dose: str, *times: str, **more: Any) -> tuple[Administration, ...]:
    return given_doses(regimen(step(dose, *(times or ("07:00",)), **more)))


def only(found: tuple[Finding, ...]) -> Finding:
    assert len(found) == 1, [(one.rule, one.message) for one in found]
    return found[0]


def born(months: int) -> date:
    """Return a birth date that makes `months` completed months on START."""
    years, left = divmod(START.month - 1 - months, 12)
    return date(START.year + years, left + 1, START.day)


def test_the_usual_order_raises_no_alert() -> None:
    assert screen(facts()) == ()


def test_an_order_without_doses_is_not_screened() -> None:
    with pytest.raises(ValueError, match="without administrations"):
        screen(facts(administrations=()))


# Limits


@pytest.mark.parametrize("case", VECTORS["dose_limit"], ids=lambda case: case["mg"])
def test_limit_per_dose(case: dict[str, str]) -> None:
    limits = (LIMITS[0], Limit(per=Per.DAY, high=Decimal(10**6), source=INVENTED))
    found = screen(facts(administrations=doses_of(f"{case['mg']} mg"), substance={"limits": limits}))
    if not case["found"]:
        assert found == ()
        return
    one = only(found)
    assert (one.rule, one.severity, one.value) == (case["found"], case["severity"], case["mg"])
    assert case["says"] in one.message
    assert one.limit == ("10" if one.rule.endswith("high") else "0.5")
    assert (one.unit, one.source) == ("mg per dose", INVENTED)
    if case["mg"] == "30000":
        assert "slip" not in one.message


@pytest.mark.parametrize(("other_mg", "rule"), [("13.25", None), ("13.26", "limit-day-high"), ("13.24", None)])
def test_day_limit_sums_all_active_orders(other_mg: str, rule: str | None) -> None:
    # The order's own day is 6.75 mg; 6.75 + 13.25 = 20, the limit.
    found = screen(facts(other_daily_mg={START: Decimal(other_mg)}))
    assert [one.rule for one in found] == ([rule] if rule else [])


@pytest.mark.parametrize(("dose", "rule"), [("2 mg", None), ("1.99 mg", "limit-day-low"), ("2.01 mg", None)])
def test_day_limit_has_a_least(dose: str, rule: str | None) -> None:
    found = screen(facts(administrations=doses_of(dose)))
    assert [one.rule for one in found] == ([rule] if rule else [])


def test_days_of_other_orders_alone_do_not_count_as_too_low() -> None:
    assert screen(facts(other_daily_mg={START + timedelta(days=100): Decimal("0.1")})) == ()


@pytest.mark.parametrize(("high", "rule"), [("189", None), ("188.99", "limit-course-high"), ("189.01", None)])
def test_course_limit(high: str, rule: str | None) -> None:
    # 28 days of 6.75 mg are 189 mg.
    limits = (*LIMITS, Limit(per=Per.COURSE, high=Decimal(high), source=INVENTED))
    found = screen(facts(substance={"limits": limits}))
    assert [one.rule for one in found] == ([rule] if rule else [])


@pytest.mark.parametrize(
    ("basis", "high", "rule"),
    [
        (Basis.PER_KG, "0.25", None),  # 0.25 x 26.2 = 6.55
        (Basis.PER_KG, "0.2499", "limit-dose-high"),  # 6.54738
        (Basis.PER_M2, "6.72", None),  # BSA sqrt(131 x 26.2 / 3600) = 0.97641; x 6.72 = 6.5615
        (Basis.PER_M2, "6.7", "limit-dose-high"),  # 6.5419
    ],
)
def test_limits_by_body_size(basis: Basis, high: str, rule: str | None) -> None:
    limits = (Limit(per=Per.DOSE, high=Decimal(high), basis=basis, source=INVENTED), LIMITS[1])
    found = screen(facts(administrations=doses_of("6.55 mg"), substance={"limits": limits}))
    assert [one.rule for one in found] == ([rule] if rule else [])
    if found:
        assert f"({high} mg/{'kg' if basis is Basis.PER_KG else 'm2'})" in found[0].message


@pytest.mark.parametrize(
    ("basis", "patient", "place"),
    [
        (Basis.PER_KG, {"weight_kg": None, "weight_date": None}, "patient.weight"),
        (Basis.PER_M2, {"height_cm": None}, "patient.height"),
    ],
)
def test_a_limit_that_cannot_be_used_blocks(basis: Basis, patient: dict[str, Any], place: str) -> None:
    limits = (Limit(per=Per.DOSE, high=Decimal(1), basis=basis, source=INVENTED), LIMITS[1])
    found = [one for one in screen(facts(patient=patient, substance={"limits": limits})) if one.field == place]
    assert ("limit-not-usable", Severity.BLOCK) in {(one.rule, one.severity) for one in found}


@pytest.mark.parametrize(
    ("limits", "rules"),
    [
        ((), ["no-limit-dose", "no-limit-day"]),
        (LIMITS[:1], ["no-limit-day"]),
        (LIMITS[1:], ["no-limit-dose"]),
        ((replace(LIMITS[0], high=None), LIMITS[1]), ["no-limit-dose"]),
        ((replace(LIMITS[0], route="buccal"), LIMITS[1]), ["no-limit-dose"]),
    ],
)
def test_no_limit_on_file_is_an_alert(limits: tuple[Limit, ...], rules: list[str]) -> None:
    found = screen(facts(substance={"limits": limits}))
    assert [one.rule for one in found] == rules
    assert {one.severity for one in found} == {Severity.REASON}


AGE_DAYS = (START - PATIENT.birth_date).days


@pytest.mark.parametrize(
    ("more", "applies"),
    [
        ({"from_days": AGE_DAYS}, True),
        ({"from_days": AGE_DAYS + 1}, False),
        ({"to_days": AGE_DAYS}, False),
        ({"to_days": AGE_DAYS + 1}, True),
        ({"from_kg": Decimal("26.2")}, True),
        ({"from_kg": Decimal("26.3")}, False),
        ({"to_kg": Decimal("26.2")}, False),
        ({"to_kg": Decimal("26.3")}, True),
    ],
)
def test_bands_of_age_and_weight(more: dict[str, Any], applies: bool) -> None:
    found = screen(facts(substance={"limits": (replace(LIMITS[0], **more), LIMITS[1])}))
    assert ("no-limit-dose" not in {one.rule for one in found}) is applies


def test_a_weight_band_needs_a_weight() -> None:
    limits = (replace(LIMITS[0], from_kg=Decimal(1)), LIMITS[1])
    found = screen(facts(patient={"weight_kg": None, "weight_date": None}, substance={"limits": limits}))
    assert {"no-limit-dose", "weight-missing"} == {one.rule for one in found}


def test_a_limits_own_severity_and_the_sites_factors_hold() -> None:
    stern = (replace(LIMITS[0], severity=Severity.BLOCK), LIMITS[1])
    assert only(screen(facts(administrations=doses_of("10.1 mg"), substance={"limits": stern}))).severity == "block"
    site = SiteRules(severities=Severities(over_blocks_at=Decimal("1.5")))
    assert only(screen(facts(administrations=doses_of("15 mg"), site=site))).severity == "reason"
    assert only(screen(facts(administrations=doses_of("15.1 mg"), site=site))).severity == "block"


# Weight


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


# Dates and age


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


# Swallowing, allergies, pregnancy


@pytest.mark.parametrize(
    ("swallowing", "mini", "severity"),
    [
        ("solids", False, None),
        ("solids", True, None),
        ("mini-units only", True, None),
        ("mini-units only", False, "block"),
        ("no solids", True, "block"),
        ("no solids", False, "block"),
        ("not assessed", False, "reason"),
        ("something else", True, "block"),
    ],
)
def test_swallowing(swallowing: str, mini: bool, severity: str | None) -> None:
    found = screen(facts(patient={"swallowing": swallowing}, mini_units=mini))
    assert [(one.rule, one.severity) for one in found] == ([("swallowing", severity)] if severity else [])


@pytest.mark.parametrize(("name", "rule"), [("feeding_tube", "feeding-tube"), ("stricture", "stricture")])
def test_tube_and_stricture_block(name: str, rule: str) -> None:
    one = only(screen(facts(patient={name: True})))
    assert (one.rule, one.severity) == (rule, "block")
    assert screen(facts(patient={name: False})) == ()


def listed(*entries: AllergyEntry) -> dict[str, Any]:
    return {"allergies": Allergies(status="listed", entries=entries)}


@pytest.mark.parametrize(
    ("patient", "expected"),
    [
        ({"allergies": Allergies(status="none")}, None),
        ({"allergies": Allergies(status="not recorded")}, ("allergies-not-recorded", "reason")),
        ({"allergies": Allergies(status="listed")}, ("allergies-contradict", "block")),
        (
            {"allergies": Allergies(status="none", entries=(AllergyEntry(text="nuts"),))},
            ("allergies-contradict", "block"),
        ),
        (listed(AllergyEntry(text="rash", substance="Hydrocortisone")), ("allergy-match", "block")),
        (listed(AllergyEntry(text="HYDROCORTISONE  cream")), ("allergy-match", "block")),
        (listed(AllergyEntry(text="cortisol")), ("allergy-match", "block")),
        (listed(AllergyEntry(text="cortisone")), ("allergy-match", "block")),
        (listed(AllergyEntry(text="hyd")), ("allergy-unmatched", "reason")),
        (listed(AllergyEntry(text="yellow thing from the sea")), ("allergy-unmatched", "reason")),
        (listed(AllergyEntry(text="rash", substance="penicillin")), None),
    ],
)
def test_allergies(patient: dict[str, Any], expected: tuple[str, str] | None) -> None:
    found = screen(facts(patient=patient))
    assert [(one.rule, one.severity) for one in found] == ([expected] if expected else [])


def test_every_entry_is_looked_at() -> None:
    entries = (AllergyEntry(text="first thing"), AllergyEntry(text="second thing"))
    assert [one.value for one in screen(facts(patient=listed(*entries)))] == ["first thing", "second thing"]


@pytest.mark.parametrize(
    ("possible", "sex", "years", "hazardous", "severity"),
    [
        (True, "female", 30, True, "block"),
        (True, "male", 30, True, "block"),
        (True, "female", 30, False, "inform"),
        (False, "female", 30, True, None),
        (None, "female", 30, True, "reason"),
        (None, "unknown", 30, True, "reason"),
        (None, "female", 10, True, "reason"),
        (None, "female", 9, True, None),
        (None, "female", 55, True, "reason"),
        (None, "female", 56, True, None),
        (None, "male", 30, True, None),
        (None, "female", 30, False, None),
    ],
)
def test_pregnancy(possible: bool | None, sex: str, years: int, hazardous: bool, severity: str | None) -> None:
    found = screen(
        facts(
            patient={
                "birth_date": born(12 * years),
                "sex": sex,
                "pregnancy_possible": possible,
                "weight_kg": Decimal(45),
            },
            substance={"hazardous": hazardous},
            site=SiteRules(hazardous_on=True),
        )
    )
    about = [(one.rule, one.severity) for one in found if one.rule == "pregnancy"]
    assert about == ([("pregnancy", severity)] if severity else [])


# Substance and form


@pytest.mark.parametrize(
    ("given_mg", "others", "closest"),
    [
        (doses_of("3 mg", days=28, every_n_days=7), {}, None),
        (doses_of("3 mg", days=28, every_n_days=8), {}, None),
        (doses_of("3 mg", days=28, every_n_days=6), {}, "6"),
        (doses_of("3 mg", days=28), {}, "1"),
        (doses_of("3 mg", days=1), {}, None),
        (doses_of("3 mg", "07:00", "19:00", days=1), {}, "0"),
        (doses_of("3 mg", days=1), {START: Decimal(1)}, "0"),
        (doses_of("3 mg", days=1), {START - timedelta(days=6): Decimal(1)}, "6"),
        (doses_of("3 mg", days=1), {START + timedelta(days=7): Decimal(1)}, None),
    ],
)
def test_weekly_only(given_mg: tuple[Administration, ...], others: dict[date, Decimal], closest: str | None) -> None:
    found = screen(facts(administrations=given_mg, other_daily_mg=others, substance={"weekly_only": True}))
    weekly = [(one.severity, one.value) for one in found if one.rule == "weekly-only"]
    assert weekly == ([("block", closest)] if closest else [])
    free = screen(facts(administrations=given_mg, other_daily_mg=others))
    assert "weekly-only" not in {one.rule for one in free}


@pytest.mark.parametrize("flag", ["controlled", "hazardous"])
def test_controlled_and_hazardous_wait_for_the_sites_switch(flag: str) -> None:
    one = only(screen(facts(patient={"sex": "male"}, substance={flag: True})))
    assert (one.rule, one.severity) == (f"{flag}-off", "block")
    switched = SiteRules(**{f"{flag}_on": True})
    assert screen(facts(patient={"sex": "male"}, substance={flag: True}, site=switched)) == ()


def test_narrow_index_informs() -> None:
    assert only(screen(facts(substance={"narrow_index": True}))).severity == "inform"


@pytest.mark.parametrize(
    ("ordered", "made", "blocks"),
    [
        ("immediate", "immediate", False),
        ("immediate", "prolonged", True),
        ("prolonged", "immediate", True),
        ("prolonged", None, False),
    ],
)
def test_release_class(ordered: str, made: str | None, blocks: bool) -> None:
    found = screen(facts(release_ordered=ordered, release_made=made))
    assert [(one.rule, one.severity) for one in found] == ([("release-class", "block")] if blocks else [])


def test_another_route_blocks() -> None:
    limits = tuple(replace(limit, route="rectal") for limit in LIMITS)
    assert only(screen(facts(route="rectal", substance={"limits": limits}))).rule == "route"


def test_other_active_orders_are_named() -> None:
    found = screen(facts(other_orders=("RX-1", "RX-2")))
    assert [(one.rule, one.severity, one.value) for one in found] == [
        ("duplicate-order", "reason", "RX-1"),
        ("duplicate-order", "reason", "RX-2"),
    ]


def test_blocking_alerts_come_first_and_all_say_their_source() -> None:
    found = screen(
        facts(
            patient={"allergies": Allergies(status="not recorded"), "stricture": True},
            substance={"narrow_index": True, "limits": ()},
        )
    )
    severities = [one.severity for one in found]
    assert severities == sorted(severities, key=list(Severity).index)
    assert set(severities) == set(Severity)
    assert all(one.source and one.message and one.field for one in found)


@given(
    st.sampled_from([10, 100, 1000]),
    st.decimals("0.5", "10", places=3),
)
def test_every_slip_from_inside_the_range_to_outside_is_found(factor: int, meant_mg: Decimal) -> None:
    for slipped in (meant_mg * factor, meant_mg / factor):
        inside = Decimal("0.5") <= slipped <= 10
        limits = (LIMITS[0], Limit(per=Per.DAY, high=Decimal(10**6), source=INVENTED))
        doses = (replace(doses_of("3 mg")[0], dose_mg=slipped),)
        found = screen(facts(administrations=doses, substance={"limits": limits}))
        assert bool(found) is not inside
        assert inside or "would lie in the range" in found[0].message
