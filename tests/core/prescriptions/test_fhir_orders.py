"""FHIR R4 orders: read exactly, or refused by the element; nothing that changes the meaning is left out in silence.

Elements, codes and their meaning: HL7 FHIR R4 (4.0.1), MedicationRequest, Dosage, Timing, Bundle, Patient.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from copy import deepcopy
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.strict_json import parse
from prescriptions.intake.drafts import Draft
from prescriptions.intake.fhir_bundle import read_fhir
from prescriptions.intake.order_request import StatedPatient
from tests.core.prescriptions.fhir_cases import BUNDLE, DOSE, REFUSED, REPEAT, TAKEN, Change, many, put, read
from tests.imports import WRITTEN_ON, example


def test_the_example_is_read_whole() -> None:
    draft = read()
    assert draft.request is not None, draft.refusals
    request, patient = draft.request, draft.request.patient
    assert (draft.source, request.reference) == ("urn:example:orders", "EXAMPLE-FHIR-1")
    assert (request.substance, request.release, request.route) == ("hydrocortisone", "immediate", "oral")
    assert request.prescriber_registration == "EXAMPLE-REG-7"
    assert request.indication == "adrenal insufficiency"
    assert [step.dose.value_mg for step in request.regimen.steps] == [Decimal(3), Decimal(2), Decimal("1.75")]
    assert [step.days for step in request.regimen.steps] == [28, 28, 28]
    assert isinstance(patient, StatedPatient)
    assert (patient.identifier.value, patient.family_name, patient.birth_date) == (
        "EX-1001",
        "Examplewood",
        date(2017, 5, 4),
    )
    assert patient.weight is not None
    assert patient.weight.value == Decimal("26.2")
    assert (patient.allergies.status, patient.swallowing) == ("none", "not assessed")
    assert draft.notes == ()


@pytest.mark.parametrize(("change", "field", "rule"), [one[1:] for one in REFUSED], ids=[one[0] for one in REFUSED])
def test_what_changes_the_meaning_is_refused_by_its_element(change: Change, field: str, rule: str) -> None:
    draft = read(change)
    assert draft.request is None
    assert (field, rule) in {(one.field, one.rule) for one in draft.refusals}, draft.refusals
    assert all(one.message and one.accepted for one in draft.refusals), draft.refusals


@pytest.mark.parametrize(("change", "of", "value"), [one[1:] for one in TAKEN], ids=[one[0] for one in TAKEN])
def test_what_is_honest_is_read(change: Change, of: Callable[[Draft], Any], value: Any) -> None:
    draft = read(change)
    assert draft.request is not None, draft.refusals
    assert of(draft) == value


def test_what_is_read_into_an_order_is_told() -> None:
    silent = many(
        put("4.contained.0.form", None), put("4.note", None), put("3.patient", {"reference": "Patient/other"})
    )
    assert len(read(silent).notes) == 4
    assert any("names no patient who came along" in one for one in read(silent).notes)
    assert any("read as immediate" in one for one in read(silent).notes)


BUNDLES: list[tuple[Any, str, str]] = [
    ([], "resourceType", "resource"),
    ({"resourceType": "Observation"}, "resourceType", "resource"),
    ({"resourceType": "Bundle", "type": "searchset", "entry": []}, "Bundle.type", "bundle"),
    ({"resourceType": "Bundle", "type": "collection"}, "Bundle.entry", "orders"),
    (BUNDLE | {"signature": {}}, "Bundle.signature", "fhir-element"),
    (BUNDLE | {"type": "transaction"}, "Bundle.entry[0].request", "missing"),
    (BUNDLE | {"entry": [{"resource": {"resourceType": "ServiceRequest"}}]}, "Bundle.entry[0].resource", "resource"),
    (BUNDLE | {"entry": [{"fullUrl": "urn:x"}]}, "Bundle.entry[0].resource", "resource"),
    (BUNDLE | {"entry": [one | {"request": {"method": "DELETE"}} for one in BUNDLE["entry"]]},
     "Bundle.entry[0].request.method", "bundle"),
    (BUNDLE | {"entry": [*BUNDLE["entry"][:4], BUNDLE["entry"][4] | {"response": {}}]},
     "Bundle.entry[4].response", "fhir-element"),
]  # fmt: skip


@pytest.mark.parametrize(("value", "field", "rule"), BUNDLES, ids=[f"{one[1]} {one[2]}" for one in BUNDLES])
def test_what_is_no_bundle_of_orders_is_refused_whole(value: Any, field: str, rule: str) -> None:
    with pytest.raises(BadInput) as refused:
        read_fhir(value, today=WRITTEN_ON)
    assert (field, rule) in {(one.field, one.rule) for one in refused.value.refusals}, refused.value.refusals


def test_references_are_followed_by_address_or_by_type_and_id_but_never_guessed() -> None:
    def by_id(bundle: dict[str, Any]) -> None:
        bundle["entry"][0]["resource"]["id"] = "p1"
        bundle["entry"][0]["fullUrl"] = "https://one.example/fhir/Patient/p1"
        for number, name in ((2, "subject"), (3, "patient"), (4, "subject")):
            bundle["entry"][number]["resource"][name] = {"reference": "Patient/p1"}

    assert read(by_id).request is not None
    elsewhere = many(by_id, put("4.subject", {"reference": "https://two.example/fhir/Patient/p1"}))
    assert [one.rule for one in read(elsewhere).refusals] == ["reference"]
    twice = many(by_id, lambda bundle: bundle["entry"].append(deepcopy(bundle["entry"][0])))
    assert "more than one" in read(twice).refusals[0].message


def test_a_flood_of_measures_is_refused() -> None:
    bundle = deepcopy(BUNDLE)
    bundle["entry"][2:3] = [deepcopy(bundle["entry"][2]) for _ in range(101)]
    with pytest.raises(BadInput) as refused:
        read_fhir(bundle, today=WRITTEN_ON)
    assert refused.value.refusals[0].value == "101"


def test_measures_and_allergies_of_another_patient_stay_with_them() -> None:
    def another(bundle: dict[str, Any]) -> None:
        other = deepcopy(bundle["entry"][0]) | {"fullUrl": "urn:uuid:other"}
        other["resource"]["identifier"][0]["value"] = "EX-2"
        bundle["entry"].append(other)
        for number, name in ((2, "subject"), (3, "patient")):
            bundle["entry"][number]["resource"][name] = {"reference": "urn:uuid:other"}

    patient = read(another).request.patient  # type: ignore[union-attr]
    assert isinstance(patient, StatedPatient)
    assert (patient.weight, patient.allergies.status) == (None, "not recorded")


def test_one_refused_order_holds_all_of_its_bundle() -> None:
    bundle = deepcopy(BUNDLE)
    other = deepcopy(bundle["entry"][4])
    other["resource"] |= {"identifier": [{"value": "SECOND"}], "status": "draft"}
    bundle["entry"].append(other | {"fullUrl": "urn:uuid:second"})
    first, second = read_fhir(bundle, today=WRITTEN_ON).drafts
    assert [one.rule for one in first.refusals] == ["whole"]
    assert first.refusals[0].value == "SECOND"
    assert [one.rule for one in second.refusals] == ["standing"]
    other["resource"] |= {"identifier": BUNDLE["entry"][4]["resource"]["identifier"], "status": "active"}
    first, second = read_fhir(bundle, today=WRITTEN_ON).drafts
    assert [one.rule for one in (*first.refusals, *second.refusals)] == ["whole", "reference"]


@given(value=st.decimals(min_value="0.000001", max_value="999999", places=6, allow_nan=False, allow_infinity=False))
def test_no_digit_of_a_dose_is_lost(value: Decimal) -> None:
    text = json.dumps(json.loads(example("bundle_example.json"))).replace('"value": 1.75', f'"value": {value:f}')
    (draft,) = read_fhir(parse(text.encode()), today=WRITTEN_ON).drafts
    assert draft.request is not None, draft.refusals
    assert draft.request.regimen.steps[2].dose.value_mg == value


JUNK = st.recursive(
    st.none() | st.booleans() | st.decimals(allow_nan=False, allow_infinity=False, places=2) | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)
PATHS = (
    "0.identifier", "0.name", "0.link", "1.identifier", "2.code", "2.valueQuantity", "3.code", "4.identifier",
    "4.status",
    "4.contained", "4.subject", "4.requester", "4.medicationReference", "4.note", "4.reasonCode", "4.dispenseRequest",
    "4.dosageInstruction", f"{DOSE}.timing", REPEAT, f"{REPEAT}.boundsPeriod", f"{REPEAT}.timeOfDay", f"{REPEAT}.when",
    f"{DOSE}.doseAndRate", f"{DOSE}.doseAndRate.0.doseQuantity", f"{DOSE}.route", f"{DOSE}.asNeededBoolean",
    f"{DOSE}.maxDosePerPeriod", f"{DOSE}.maxDosePerAdministration",
)  # fmt: skip


@given(path=st.sampled_from(PATHS), junk=JUNK.filter(lambda one: one is not None))
def test_junk_anywhere_is_refused_and_ends_nothing(path: str, junk: Any) -> None:
    draft = read(put(path, junk))
    assert (draft.request is None) == bool(draft.refusals)
