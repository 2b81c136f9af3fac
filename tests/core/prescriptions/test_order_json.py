"""The order JSON: taken truly, or refused with every fault named by its place."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.quantities import Basis
from dosewright.ground.pure.strict_json import parse
from prescriptions.intake.order_json import (
    MOST_ORDERS,
    ORDER_NAMES,
    order_request_as_json,
    read_order,
    read_orders,
)
from prescriptions.intake.order_request import KnownPatient, OrderRequest, StatedPatient
from prescriptions.intake.patient_json import PATIENT_NAMES
from prescriptions.intake.regimen_json import STEP_NAMES
from prescriptions.regimens import dose_lines
from tests.core.prescriptions.order_cases import EXAMPLES, SCHEMA, TODAY, Change, changed, drop, fits, put, refusals


def test_the_schema_is_a_schema_and_takes_the_examples() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    assert len(EXAMPLES) == 3
    assert all(fits(one) for one in EXAMPLES)


def test_the_schema_knows_the_names_that_are_read() -> None:
    assert set(SCHEMA["properties"]) == set(ORDER_NAMES)
    assert set(SCHEMA["$defs"]["stated_patient"]["properties"]) == set(PATIENT_NAMES)
    assert set(SCHEMA["$defs"]["step"]["properties"]) == set(STEP_NAMES)


def test_the_first_example_is_read_whole() -> None:
    order = read_order(EXAMPLES[0], today=TODAY)
    assert (order.reference, order.substance, order.release, order.route) == (
        *("EXAMPLE-1", "hydrocortisone", "immediate", "oral"),
    )
    patient = order.patient
    assert isinstance(patient, StatedPatient)
    assert (patient.identifier.value, patient.birth_date, patient.sex) == ("EX-1001", date(2017, 5, 4), "female")
    assert patient.weight is not None
    assert (patient.weight.value, patient.weight.measured_on) == (Decimal("26.2"), date(2026, 2, 20))
    assert (patient.feeding_tube, patient.stricture, patient.pregnancy_possible) == (False, False, None)
    assert [(line.dose_mg, line.times, line.count) for line in dose_lines(order.regimen)] == [
        (Decimal(3), (time(7),), 28),
        (Decimal(2), (time(13),), 28),
        (Decimal("1.75"), (time(19),), 28),
    ]


def test_the_second_example_carries_surface_cap_prescriber_and_moment() -> None:
    order = read_order(EXAMPLES[1], today=TODAY)
    (only,) = order.regimen.steps
    assert (only.dose.basis, only.dose.value_mg, only.cap_mg, only.days) == (Basis.PER_M2, 4, 10, 28)
    assert order.prescriber_registration == "EXAMPLE-REG-7"
    assert order.ready_by == datetime(2026, 3, 12, 15, tzinfo=UTC)
    assert isinstance(order.patient, StatedPatient)
    assert order.patient.allergies.entries == ("penicillin, rash as an infant",)


@pytest.mark.parametrize("example", [0, 1, 2])
def test_round_trip(example: int) -> None:
    order = read_order(EXAMPLES[example], today=TODAY)
    written = order_request_as_json(order)
    assert fits(written)
    assert read_order(parse(json.dumps(written).encode()), today=TODAY) == order


def test_round_trip_of_a_known_patient_and_micrograms() -> None:
    order = read_order(
        changed(lambda one: (put("patient", {"code": "PA-TEST"})(one), put("regimen.steps.0.dose", "50 ug")(one))),
        today=TODAY,
    )
    assert order.patient == KnownPatient(code="PA-TEST")
    assert order.regimen.steps[0].dose.value_mg == Decimal("0.05")
    assert read_order(order_request_as_json(order), today=TODAY) == order


S0 = "regimen.steps.0"
P0 = "regimen.steps[0]"


@pytest.mark.parametrize(
    ("change", "places", "schema_takes"),
    [
        # doses: what the issue lists as bad input
        (put(f"{S0}.dose", "NaN mg"), [f"{P0}.dose"], False),
        (put(f"{S0}.dose", "Infinity mg"), [f"{P0}.dose"], False),
        (put(f"{S0}.dose", "0 mg"), [f"{P0}.dose"], True),
        (put(f"{S0}.dose", "-3 mg"), [f"{P0}.dose"], False),
        (put(f"{S0}.dose", "3.123456789012345 mg"), [f"{P0}.dose"], True),
        (put(f"{S0}.dose", "3 Mg"), [f"{P0}.dose"], False),
        (put(f"{S0}.dose", "3 IU"), [f"{P0}.dose"], False),
        (put(f"{S0}.dose", "3 U"), [f"{P0}.dose"], False),
        (put(f"{S0}.dose", "3 mcg"), [f"{P0}.dose"], False),
        (put(f"{S0}.dose", "3"), [f"{P0}.dose"], False),
        (put(f"{S0}.dose", Decimal(3)), [f"{P0}.dose"], False),
        (put(f"{S0}.dose", 3), [f"{P0}.dose"], False),
        (put(f"{S0}.dose", {"value": "3", "unit": "mg"}), [f"{P0}.dose"], False),
        (drop(f"{S0}.dose"), [f"{P0}.dose"], False),
        (put(f"{S0}.dose", None), [f"{P0}.dose"], False),
        # weight, height, body size
        (put("patient.weight.unit", "lb"), ["patient.weight.unit"], False),
        (put("patient.weight.unit", "mg"), ["patient.weight.unit"], False),
        (put("patient.weight.value", Decimal("26.2")), ["patient.weight.value"], False),
        (put("patient.weight.value", "-26"), ["patient.weight.value"], False),
        (drop("patient.weight.measured_on"), ["patient.weight.measured_on"], False),
        (put("patient.weight.measured_on", "2026-03-06"), ["patient.weight.measured_on"], True),
        (put("patient.weight.measured_on", "2017-05-03"), ["patient.weight.measured_on"], True),
        (put("patient.height.unit", "in"), ["patient.height.unit"], False),
        (put("patient.weight", "26 kg"), ["patient.weight"], False),
        (put("patient.largest_unit_mm", "0.5"), ["patient.largest_unit_mm"], True),
        (put("patient.largest_unit_mm", "26"), ["patient.largest_unit_mm"], True),
        # patient
        (put("patient.birth_date", "2026-03-06"), ["patient.birth_date"], True),
        (put("patient.birth_date", "2017-02-29"), ["patient.birth_date"], True),
        (put("patient.birth_date", "20170504"), ["patient.birth_date"], False),
        (put("patient.birth_date", "2017-W18-4"), ["patient.birth_date"], False),
        (put("patient.birth_date", "04.05.2017"), ["patient.birth_date"], False),
        (put("patient.birth_date", "0017-05-04"), ["patient.birth_date"], True),
        (put("patient.sex", "F"), ["patient.sex"], False),
        (put("patient.swallowing", "yes"), ["patient.swallowing"], False),
        (drop("patient.swallowing"), ["patient.swallowing"], False),
        (drop("patient.allergies"), ["patient.allergies"], False),
        (put("patient.allergies", "none"), ["patient.allergies"], False),
        (put("patient.allergies.status", "unknown"), ["patient.allergies.status"], False),
        (put("patient.allergies.status", "listed"), ["patient.allergies.entries"], False),
        (put("patient.allergies.entries", ["nuts"]), ["patient.allergies.entries"], False),
        (put("patient.allergies", {"status": "listed", "entries": ["nuts", 7]}),
         ["patient.allergies.entries[1]"], False),
        (put("patient.feeding_tube", "no"), ["patient.feeding_tube"], False),
        (put("patient.family_name", "  "), ["patient.family_name"], True),
        (put("patient.family_name", " Examplewood"), ["patient.family_name"], True),
        (put("patient.family_name", "Ex\nample"), ["patient.family_name"], False),
        (put("patient.family_name", "Ex\u202eample"), ["patient.family_name"], True),
        (put("patient.family_name", "x" * 121), ["patient.family_name"], False),
        (put("patient.nickname", "Jun"), ["patient.nickname"], False),
        (put("patient.identifier", {"system": "urn:x"}), ["patient.identifier.value"], False),
        (put("patient", {"code": "PA-TEST", "sex": "female"}), ["patient.sex"], False),
        (put("patient", "PA-TEST"), ["patient"], False),
        (drop("patient"), ["patient"], False),
        # order
        (put("route", "buccal"), ["route"], False),
        (put("release", "slow"), ["release"], False),
        (drop("reason"), ["reason"], False),
        (drop("reference"), ["reference"], False),
        (put("reference", "x" * 121), ["reference"], False),
        (put("urgent", True), ["urgent"], False),
        (put("prescriber", {"registration": ""}), ["prescriber.registration"], False),
        (put("ready_by", "2026-03-12"), ["ready_by"], False),
        (put("ready_by", "2026-03-12T15:00:00"), ["ready_by"], False),
        (put("ready_by", "2026-13-12T15:00:00Z"), ["ready_by"], True),
        (put("ready_by", "0001-01-01T00:00:00+23:00"), ["ready_by"], True),
        # regimen
        (drop("regimen"), ["regimen"], False),
        (put("regimen.steps", []), ["regimen.steps"], False),
        (put("regimen.steps", {}), ["regimen.steps"], False),
        (put("regimen.steps.0", "3 mg at 7"), [P0], False),
        (put(f"{S0}.times", []), [f"{P0}.times"], False),
        (put(f"{S0}.times", "07:00"), [f"{P0}.times"], False),
        (put(f"{S0}.times", ["7:00"]), [f"{P0}.times[0]"], False),
        (put(f"{S0}.times", ["24:00"]), [f"{P0}.times[0]"], False),
        (put(f"{S0}.times", ["07:00", 8]), [f"{P0}.times[1]"], False),
        (put(f"{S0}.times", ["07:00", "07:00"]), [f"{P0}.times"], False),
        (put(f"{S0}.start_date", "2026-02-30"), [f"{P0}.start_date"], True),
        (put(f"{S0}.start_date", "2017-05-03"), [f"{P0}.start_date"], True),
        (put(f"{S0}.days", 0), [f"{P0}.days"], False),
        (put(f"{S0}.days", -1), [f"{P0}.days"], False),
        (put(f"{S0}.days", Decimal("1.5")), [f"{P0}.days"], False),
        (put(f"{S0}.days", Decimal("NaN")), [f"{P0}.days"], None),
        (put(f"{S0}.days", 28.0), [f"{P0}.days"], None),
        (put(f"{S0}.days", "28"), [f"{P0}.days"], False),
        (put(f"{S0}.days", True), [f"{P0}.days"], False),
        (put(f"{S0}.days", 367), [f"{P0}.days"], False),
        (drop(f"{S0}.days"), [f"{P0}.days"], False),
        (put(f"{S0}.stop_date", "2026-04-06"), [f"{P0}.days"], False),
        (put(f"{S0}.every_n_days", 0), [f"{P0}.every_n_days"], False),
        (put(f"{S0}.every_n_days", 91), [f"{P0}.every_n_days"], False),
        (put(f"{S0}.every_n_days", "2"), [f"{P0}.every_n_days"], False),
        (put(f"{S0}.weekdays", [1]), [f"{P0}.weekdays[0]"], False),
        (put(f"{S0}.weekdays", ["Monday"]), [f"{P0}.weekdays[0]"], False),
        (put(f"{S0}.weekdays", ["monday", "monday"]), [f"{P0}.weekdays"], False),
        (put(f"{S0}.weekdays", []), [f"{P0}.weekdays"], False),
        (put(f"{S0}.slots", ["with lunch"]), [f"{P0}.slots"], False),
        (put(f"{S0}.as_needed", True), [f"{P0}.as_needed"], False),
        (put(f"{S0}.max_dose", "5 mg"), [f"{P0}.max_dose"], True),
        (put(f"{S0}.max_dose", "5 mg/kg"), [f"{P0}.max_dose"], False),
        (put(f"{S0}.frequency", "daily"), [f"{P0}.frequency"], False),
        (put("regimen.steps.1.times", ["07:00"]), ["regimen.steps[1]"], True),
    ],
)  # fmt: skip
def test_refused_by_place(change: Change, places: list[str], schema_takes: bool | None) -> None:
    assert read_order(EXAMPLES[0], today=TODAY), "the same order without the change is taken"
    value = changed(change)
    found = refusals(value)
    assert [one.field for one in found] == places
    assert all(one.message and one.accepted for one in found)
    assert all(len(one.value or "") < 120 for one in found)
    if schema_takes is not None:
        assert fits(value) is schema_takes


def test_dose_per_kg_without_a_weight_and_per_m2_without_height() -> None:
    def per_kg(order: dict[str, Any]) -> None:
        del order["patient"]["weight"]
        order["regimen"]["steps"][0]["dose"] = "0.1 mg/kg"

    (only,) = refusals(changed(per_kg))
    assert (only.field, only.value, only.rule) == ("patient.weight", "0.1 mg/kg", "weight-missing")
    (only,) = refusals(changed(drop("patient.height"), example=1))
    assert (only.field, only.rule) == ("patient.height", "height-missing")


def test_pounds_name_the_conversion() -> None:
    (only,) = refusals(changed(put("patient.weight", {"value": "58", "unit": "lb", "measured_on": "2026-03-01"})))
    assert "26.31 kg" in only.message
    assert only.accepted == "kg, g"


def test_the_end_before_the_start_is_refused() -> None:
    (only,) = refusals(changed(put("regimen.steps.0.stop_date", "2026-03-12"), example=1))
    assert (only.field, only.value) == ("regimen.steps[0].stop_date", "2026-03-12")
    one_day = read_order(changed(put("regimen.steps.0.stop_date", "2026-03-13"), example=1), today=TODAY)
    assert one_day.regimen.steps[0].days == 1


def test_every_fault_is_told_at_once() -> None:
    def spoil(order: dict[str, Any]) -> None:
        order["route"] = "nasal"
        order["patient"]["sex"] = "F"
        order["patient"]["weight"]["unit"] = "lb"
        order["regimen"]["steps"][0]["dose"] = "3 Mg"
        order["regimen"]["steps"][2]["times"] = ["25:00"]
        order["colour"] = "red"

    assert {one.field for one in refusals(changed(spoil))} == {
        *("route", "patient.sex", "patient.weight.unit", "colour"),
        *("regimen.steps[0].dose", "regimen.steps[2].times[0]"),
    }


@pytest.mark.parametrize("value", [None, [], "order", Decimal(3), True])
def test_what_is_no_object_is_refused_once(value: object) -> None:
    (only,) = refusals(value)
    assert only.field == "order"


def test_today_is_the_last_day_of_birth_and_of_weighing() -> None:
    order = changed(put("patient.weight.measured_on", TODAY.isoformat()))
    assert read_order(order, today=TODAY)
    newborn = changed(lambda one: [
        put("patient.birth_date", TODAY.isoformat())(one),
        put("patient.weight.measured_on", TODAY.isoformat())(one),
        put("patient.height.measured_on", TODAY.isoformat())(one),
    ])  # fmt: skip
    assert read_order(newborn, today=TODAY)


def test_a_list_goes_on_past_a_bad_order_and_takes_a_reference_once() -> None:
    bad = changed(put("regimen.steps.0.dose", "3 Mg"))
    read = read_orders([bad, EXAMPLES[0], EXAMPLES[1], EXAMPLES[0]], today=TODAY)
    assert [type(one) for one in read] == [BadInput, OrderRequest, OrderRequest, BadInput]
    repeated = read[3]
    assert isinstance(repeated, BadInput)
    assert (repeated.refusals[0].field, repeated.refusals[0].value) == ("reference", "EXAMPLE-1")


@pytest.mark.parametrize("value", [{}, [], None, "x", [EXAMPLES[0]] * (MOST_ORDERS + 1)])
def test_what_is_no_list_of_orders_is_refused(value: object) -> None:
    with pytest.raises(BadInput) as caught:
        read_orders(value, today=TODAY)
    assert caught.value.refusals[0].field == "orders"


leaves = st.none() | st.booleans() | st.text(max_size=12) | st.integers() | st.decimals(allow_nan=True)
anything = st.recursive(
    leaves, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
)
paths = st.sampled_from(
    [*ORDER_NAMES, *(f"patient.{name}" for name in PATIENT_NAMES), *(f"{S0}.{name}" for name in STEP_NAMES), S0]
)


@given(paths, anything)
def test_nothing_put_anywhere_crashes_the_reader(path: str, value: object) -> None:
    order = changed(put(path, value))
    try:
        read = read_order(order, today=TODAY)
    except BadInput:
        return
    assert read_order(order_request_as_json(read), today=TODAY) == read
