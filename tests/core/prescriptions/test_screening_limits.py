"""Limits per dose, day, course and body size, just under, at and just over; slips of a digit."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dosewright.ground.pure.quantities import Basis
from prescriptions.calendar import Administration
from prescriptions.dose_limits import Limit, Per, Severities
from prescriptions.findings import Severity
from prescriptions.screen_facts import (
    SiteRules,
)
from prescriptions.screening import screen
from tests.core.prescriptions.builders import START
from tests.core.prescriptions.screened import (
    INVENTED,
    LIMITS,
    PATIENT,
    VECTORS,
    doses_of,
    facts,
    only,
)


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


@pytest.mark.parametrize(
    ("given_mg", "basis", "rule", "says"),
    [
        # 26.2 kg. 0.2 mg x 26.2 = 5.24 mg; 60 mg / 26.2 = 2.29 mg; 3 x 8 mg are 24 mg a day, meant were 8 mg.
        (doses_of("0.2 mg"), Basis.ABSOLUTE, "limit-dose-low", "a tenfold slip? 2 mg"),
        (doses_of("0.3 mg"), Basis.ABSOLUTE, "limit-dose-low", "a tenfold slip? 3 mg"),
        (doses_of("0.04 mg"), Basis.ABSOLUTE, "limit-dose-low", "a hundredfold slip? 4 mg"),
        (doses_of("0.0004 mg"), Basis.ABSOLUTE, "limit-dose-low", "over"),
        (doses_of("262 mg"), Basis.PER_KG, "limit-dose-high", "a hundredfold slip? 2.62 mg"),
        (doses_of("8 mg", "07:00", "13:00", "19:00"), Basis.ABSOLUTE, "limit-day-high", "a tenfold slip? 2.4 mg"),
    ],
)
def test_slips_are_named_smallest_first(
    given_mg: tuple[Administration, ...], basis: Basis, rule: str, says: str
) -> None:
    found = screen(facts(administrations=given_mg, basis=frozenset({basis})))
    messages = {one.rule: one.message for one in found}
    assert rule in messages
    assert (says in messages[rule]) is (says != "over")


@pytest.mark.parametrize(
    ("low", "high", "doses", "basis", "says"),
    [
        # Narrow ranges, so that no power of ten explains the dose.
        ("6", "9", doses_of("0.25 mg"), Basis.ABSOLUTE, "a dose in mg/kg written as mg? 6.55 mg"),
        ("6", "9", doses_of("0.25 mg"), Basis.PER_KG, None),
        ("2", "2.4", doses_of("60 mg"), Basis.PER_KG, "a dose in mg written as mg/kg? 2.290076 mg"),
        ("2", "2.4", doses_of("60 mg"), Basis.ABSOLUTE, None),
    ],
)
def test_a_dose_by_weight_mistaken_for_one_in_mg(
    low: str, high: str, doses: tuple[Administration, ...], basis: Basis, says: str | None
) -> None:
    limit = Limit(per=Per.DOSE, low=Decimal(low), high=Decimal(high), source=INVENTED)
    wide = Limit(per=Per.DAY, high=Decimal(10**6), source=INVENTED)
    one = only(screen(facts(administrations=doses, basis=frozenset({basis}), substance={"limits": (limit, wide)})))
    assert (says in one.message) if says else ("would lie" not in one.message)


@pytest.mark.parametrize(("times", "says"), [(("07:00", "19:00"), True), (("07:00",), False)])
def test_a_days_dose_written_for_each_dose(times: tuple[str, ...], says: bool) -> None:
    limits = (
        Limit(per=Per.DOSE, high=Decimal(100), source=INVENTED),
        Limit(per=Per.DAY, low=Decimal(15), high=Decimal(20), source=INVENTED),
    )
    dose = "16 mg" if says else "32 mg"
    one = only(screen(facts(administrations=doses_of(dose, *times), substance={"limits": limits})))
    assert one.value == "32"
    assert ("a day's dose written for each dose? 16 mg" in one.message) is says


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
