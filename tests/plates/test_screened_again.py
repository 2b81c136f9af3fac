"""The screen "making" looks at the form that would be made, and whatever is found anew keeps an order from a plan."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from dosewright.ground.models import Work
from dosewright.ground.pure.errors import Blocked
from dosewright.ground.work import run
from prescriptions import services as prescriptions
from prescriptions.queries import order_facts
from prescriptions.queries.facts import standing_alerts
from printing.plates import services
from printing.plates.fitting import fit_of
from printing.plates.models import PrintBatch
from printing.plates.queries import plan_facts
from tests.batches import Bench, checked_order, undone, work_off_all
from tests.cast import NOW, Cast, pen, validated_formulation
from tests.orders import another_child, enter_signed, order_request, work_off

SMALL = {
    "birth_date": "2024-07-01",  # 20 months at the first dose
    "weight": {"value": "11", "unit": "kg", "measured_on": "2026-02-27"},
    "height": {"value": "84", "unit": "cm", "measured_on": "2026-02-27"},
}


def standing(code: str) -> dict[str, str]:
    """Return rule and severity of every alert that stands on an order, of both screens."""
    return {one.rule: one.severity for one in standing_alerts(code)}


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({}, {}),
        ({"release": "prolonged"}, {"no-formulation": "block", "release-class": "block"}),
        ({"patient": {"swallowing": "mini-units only"}}, {"swallowing-form": "block"}),
        (
            {"patient": {"allergies": {"status": "listed", "entries": ["riboflavin, itching"]}}},
            {"allergy-ingredient": "block", "allergy-unmatched": "reason"},
        ),
        ({"patient": SMALL}, {"age-form": "block", "age-mini-units": "reason"}),
    ],
)
def test_the_form_that_would_be_made(cast: Cast, changes: dict[str, Any], expected: dict[str, str]) -> None:
    validated_formulation(cast)
    code = enter_signed(cast, order_request("3 mg", "2 mg", "1 mg", **changes)).code
    work_off_all("fact:order received")
    found = {rule: severity for rule, severity in standing(code).items() if not rule.startswith(("size", "cannot"))}
    assert found == expected


def test_residues_count_the_patients_other_orders_of_the_formulation(cast: Cast) -> None:
    def fit(code: str) -> Decimal:
        facts = order_facts(code)
        return fit_of(facts, facts.lines[0]).daily_dose_mg

    alone = enter_signed(cast, order_request("3 mg", "2 mg", "1.75 mg")).code
    assert fit(alone) == Decimal("6.75")
    step = {"dose": "4 mg", "times": ["09:00", "21:00"], "days": 5}
    late = enter_signed(cast, order_request(regimen={"steps": [step | {"start_date": "2026-04-06"}]})).code
    assert fit(alone) == Decimal("14.75")
    assert fit(late) == Decimal("14.75")
    after = enter_signed(cast, order_request(regimen={"steps": [step | {"start_date": "2026-04-11"}]})).code
    other = enter_signed(cast, order_request("9 mg", "2 mg", "1 mg", patient=another_child(3))).code
    assert (fit(alone), fit(after), fit(other)) == (Decimal("14.75"), Decimal(8), Decimal(12))
    enter_signed(cast, order_request("5 mg", "1 mg", "1 mg", release="prolonged"))
    assert fit(alone) == Decimal("14.75")  # of another formulation
    prescriptions.stop_order(cast.mira, late, reason="entered twice", at=NOW)
    assert fit(alone) == Decimal("6.75")


def _measured(cast: Cast, patient: str, code: str) -> None:
    prescriptions.measure_patient(
        cast.rosa, patient, kind="weight", value="9.3", unit="kg", measured_on=NOW.date(), at=NOW
    )


def _corrected(**changes: Any) -> Callable[[Cast, str, str], None]:
    def cause(cast: Cast, patient: str, code: str) -> None:
        prescriptions.correct_patient(cast.rosa, patient, changes=changes, reason="seen on the ward", at=NOW)

    return cause


def _second_order(cast: Cast, patient: str, code: str) -> None:
    enter_signed(cast, order_request("9 mg", "4 mg", "4 mg", patient={"code": patient}))


def _double(cast: Cast, patient: str, code: str) -> None:
    twin = {"identifier": {"system": "urn:demo:hospital-number", "value": "D-1777"}, "family_name": "Quillfether"}
    enter_signed(cast, order_request(patient=twin))


CAUSES: tuple[tuple[Callable[[Cast, str, str], None], set[str]], ...] = (
    (_measured, {"weight-hardly-believable", "weight-change"}),
    (_corrected(feeding_tube="yes"), {"feeding-tube"}),
    (_corrected(stricture="yes"), {"stricture"}),
    (_corrected(swallowing="not assessed"), {"swallowing"}),
    (_corrected(allergies_recorded="not recorded"), {"allergies-not-recorded"}),
    (_second_order, {"duplicate-order", "limit-day-high"}),
    (_double, {"patient-look-alike"}),
)


def test_every_new_alert_keeps_an_order_out_of_a_plan(cast: Cast, at_bench: Bench) -> None:
    code = checked_order(cast)
    patient = order_facts(code).patient
    for cause, rules in CAUSES:
        with undone():
            cause(cast, patient, code)
            plan = services.request_plan(cast.tomas, resin_lot=at_bench.lot, printer=at_bench.printer, at=NOW)
            row = Work.objects.get(key=f"plan:{plan}")
            assert not run(row.pk, clock=lambda: NOW), rules
            assert order_facts(code).state == "received", rules
            assert rules <= set(standing(code)), rules
            assert not PrintBatch.objects.exists()
    with undone():
        _corrected(largest_unit_mm=Decimal(8))(cast, patient, code)
        plan = services.request_plan(cast.tomas, resin_lot=at_bench.lot, printer=at_bench.printer, at=NOW)
        assert run(Work.objects.get(key=f"plan:{plan}").pk, clock=lambda: NOW)
        assert plan_facts(cast.tomas, plan).left_out == ()


def test_an_alert_that_went_and_came_back_stops_a_verified_order(cast: Cast, at_bench: Bench) -> None:
    code = checked_order(cast, patient={"swallowing": "not assessed"})
    patient = order_facts(code).patient
    _corrected(swallowing="solids")(cast, patient, code)
    work_off("screen order")
    assert (order_facts(code).state, standing(code)) == ("verified", {})
    _corrected(swallowing="not assessed")(cast, patient, code)
    plan = services.request_plan(cast.tomas, resin_lot=at_bench.lot, printer=at_bench.printer, at=NOW)
    assert not run(Work.objects.get(key=f"plan:{plan}").pk, clock=lambda: NOW)
    assert (order_facts(code).state, standing(code)) == ("received", {"swallowing": "reason"})
    work_off_all("fact:order received", at=NOW + timedelta(minutes=1))
    shown = prescriptions.verify_shown(cast.rosa, code)
    with pytest.raises(Blocked) as refused:
        prescriptions.verify_order(cast.rosa, code, pen=pen(shown), at=NOW)
    assert {one.rule for one in refused.value.refusals} == {"reason-missing", "not-opened"}
