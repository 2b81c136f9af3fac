"""The forty published MedicationRequests at the door: each by the table, none crashes, no digit is lost."""

from __future__ import annotations

import json
import re
from collections import Counter
from copy import deepcopy
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from dosewright.ground.pure.strict_json import parse
from prescriptions.intake.drafts import Draft
from prescriptions.intake.files import read_json
from prescriptions.regimens import MealSlots
from tests.core.vectors import load
from tests.fhir.package import Examples, NotReached, fetch

TABLE = {one["id"]: one for one in load("fhir_r4_examples")["examples"]}
TODAY = date(2016, 1, 20)
"""Within the time in which the examples play."""


@pytest.fixture(scope="session")
def examples(tmp_path_factory: pytest.TempPathFactory) -> Examples:
    """The package, fetched once."""
    try:
        return fetch(tmp_path_factory.mktemp("npm"))
    except NotReached as reason:
        pytest.skip(f"the registry did not give the examples: {reason}")


def test_the_table_has_every_example(examples: Examples) -> None:
    assert len(TABLE) == 40
    assert set(TABLE) == set(examples.requests)


@pytest.mark.parametrize("name", sorted(TABLE))
def test_each_is_refused_where_the_table_says(examples: Examples, name: str) -> None:
    bundle = examples.bundle(name)
    (draft,) = read_json(bundle, today=TODAY).drafts
    own = f"Bundle.entry[{len(bundle['entry']) - 1}].resource."
    found = [f"{_placed(one.field, own)}: {one.rule}" for one in draft.refusals]
    assert (draft.request is not None) is TABLE[name]["taken"]
    assert found == TABLE[name]["elements"]
    assert all(one.message and one.accepted for one in draft.refusals)


def _placed(field: str, own: str) -> str:
    return field.removeprefix(own) if field.startswith(own) else f"beside.{field.partition('.resource.')[2]}"


@pytest.mark.parametrize("name", sorted(TABLE))
def test_alone_it_is_refused_for_those_who_did_not_come_along(examples: Examples, name: str) -> None:
    (draft,) = read_json(parse(examples.requests[name]), today=TODAY).drafts
    missing = {one.field for one in draft.refusals if one.rule == "reference"}
    assert {"MedicationRequest.subject.reference", "MedicationRequest.requester.reference"} <= missing


NUMBER = re.compile(r"-?[0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?")


@pytest.mark.parametrize("name", sorted(TABLE))
def test_every_number_is_parsed_as_it_was_written(examples: Examples, name: str) -> None:
    text = examples.requests[name].decode()
    written = Counter(NUMBER.findall(re.sub(r'"(?:\\.|[^"\\])*"', '""', text)))
    assert Counter(_numbers(parse(text.encode()))) == written


def _numbers(value: Any) -> list[str]:
    if isinstance(value, Decimal):
        return [str(value)]
    inside = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return [one for item in inside for one in _numbers(item)]


PATIENT = {
    "resourceType": "Patient",
    "id": "pat1",
    "identifier": [{"system": "urn:example:hospital-number", "value": "EX-1"}],
    "name": [{"family": "Examplewood", "given": ["Juniper"]}],
    "gender": "female",
    "birthDate": "1980-05-04",
}


def measured(code: str, value: str, unit: str) -> dict[str, Any]:
    """Return a body measure of the invented patient."""
    quantity = {"value": Decimal(value), "unit": unit, "system": "http://unitsofmeasure.org", "code": unit}
    coding = [{"system": "http://loinc.org", "code": code}]
    return {
        "resourceType": "Observation",
        "status": "final",
        "code": {"coding": coding},
        "subject": {"reference": "Patient/pat1"},
        "effectiveDateTime": "2016-01-10",
        "valueQuantity": quantity,
    }


def mended(examples: Examples, name: str, **repeat: Any) -> Draft:
    """Read an example made whole: an invented patient with size, a route, and `repeat` in each dosage."""
    bundle = deepcopy(examples.bundle(name))
    request = bundle["entry"][-1]["resource"]
    for dosage in request["dosageInstruction"]:
        dosage.setdefault("route", {"text": "oral"})
        dosage["timing"]["repeat"] |= repeat
    others = [one for one in bundle["entry"] if one["resource"]["resourceType"] != "Patient"]
    beside = [PATIENT, measured("29463-7", "61.30", "kg"), measured("8302-2", "168.5", "cm")]
    bundle["entry"] = [*({"resource": one} for one in beside), *others]
    (draft,) = read_json(bundle, today=TODAY).drafts
    return draft


def test_the_nearest_three_are_taken_once_they_say_what_was_missing(examples: Examples) -> None:
    by_surface = mended(examples, "medrx0309", timeOfDay=["08:00:00"])
    assert by_surface.request is not None, by_surface.refusals
    (step,) = by_surface.request.regimen.steps
    assert (step.dose.text, step.every_n_days, step.days) == ("1000 mg/m2", 2, 14)
    assert by_surface.request.sender_words == "1000 mg/m2 orally twice daily from days 1-14 of cycle"
    bounds = {"start": "2016-01-25", "end": "2016-05-23"}
    in_mg = mended(examples, "medrx0306", timeOfDay=["08:00:00"], boundsPeriod=bounds)
    assert in_mg.request is not None, in_mg.refusals
    assert [one.dose.text for one in in_mg.request.regimen.steps] == ["6 mg"]
    with_supper = mended(examples, "medrx0331", when=["CV"], boundsPeriod=bounds)
    assert [one.rule for one in with_supper.refusals] == ["supply"]
    bounds["start"], bounds["end"] = "2016-01-15", "2016-05-13"
    with_supper = mended(examples, "medrx0331", when=["CV"], boundsPeriod=bounds)
    assert with_supper.request is not None, with_supper.refusals
    assert with_supper.request.substance == "warfarin sodium"
    assert isinstance(with_supper.request.regimen.steps[0].timing, MealSlots)
    assert with_supper.request.supply_days == 30


def test_what_was_mended_is_what_made_the_difference(examples: Examples) -> None:
    for name in ("medrx0306", "medrx0309", "medrx0331"):
        assert mended(examples, name).request is None
    assert json.dumps(TABLE["medrx0309"]["elements"]) == '["dosageInstruction[0].timing.repeat.timeOfDay: timing"]'
