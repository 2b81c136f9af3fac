"""A file of orders by REST (CSV, FHIR R4, JSON) and by the page: answers, errors and who may, each in its own words."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from dosewright.ground.models import AuditEntry
from prescriptions.models import Order
from tests.cast import Cast, demo_substance, found_cast
from tests.imports import example
from tests.roof.conftest import as_person

IMPORT, FHIR = "/api/v1/order/import", "/api/v1/fhir"
FHIR_JSON = "application/fhir+json"


TODAY = datetime.now(UTC).date()
CSV, BUNDLE = example("orders_example.csv", TODAY), example("bundle_example.json", TODAY)


def single() -> dict[str, Any]:
    """Return the order of the example Bundle alone, with whom it names contained in it."""
    value = json.loads(BUNDLE)
    patient, practitioner, weight, allergy, request = (one["resource"] for one in value["entry"])
    for number, one in enumerate((patient, practitioner, weight, allergy)):
        one["id"] = f"c{number}"
    weight["subject"] = allergy["patient"] = request["subject"] = {"reference": "#c0"}
    request["requester"] = {"reference": "#c1"}
    request["contained"] += [patient, practitioner, weight, allergy]
    return dict(request)


@pytest.fixture
def cast(db: None) -> Cast:
    """The demo site with hydrocortisone set up."""
    cast = found_cast()
    demo_substance(cast)
    return cast


@pytest.fixture
def tomas(cast: Cast) -> Client:
    """The technician's browser or program."""
    return as_person(cast.users["tomas.lind"])


def test_csv_is_sent_as_it_is(tomas: Client) -> None:
    answer = tomas.post(f"{IMPORT}?source=ward-4", CSV, content_type="text/csv; charset=utf-8")
    assert answer.status_code == 201, answer.content
    body = answer.json()
    assert (body["form"], body["taken"], body["refused"]) == ("csv", 2, [])
    assert {one["source"] for one in body["orders"]} == {"ward-4"}
    again = tomas.post(f"{IMPORT}?source=ward-4", CSV, content_type="text/csv")
    assert (again.json()["taken"], again.json()["repeated"], Order.objects.count()) == (0, 2, 2)


def test_csv_inside_json_is_the_same_file(tomas: Client) -> None:
    raw = tomas.post(IMPORT, CSV, content_type="text/csv").json()
    typed = tomas.post(IMPORT, json.dumps({"text": CSV.decode()}), content_type="application/json").json()
    assert [one["code"] for one in typed["orders"]] == [one["code"] for one in raw["orders"]]


@pytest.mark.parametrize(
    ("body", "media", "status", "rule"),
    [
        (b"\xff\xfe,", "text/csv", 422, "no-utf-8"),
        (b"", "text/csv", 422, "invalid"),
        (b"a,b\r\n1,2\r\n", "text/csv", 422, "column"),
        (b"x" * 1_000_001, "text/csv", 413, "size"),
        (b"<MedicationRequest/>", FHIR_JSON, 422, "form"),
        (b'{"resourceType": "Patient"}', FHIR_JSON, 422, "resource"),
        (b"[" * 100_000, FHIR_JSON, 422, "too-deep"),
    ],
)
def test_a_file_that_is_none_is_refused_with_a_row_in_the_audit_trail(
    tomas: Client, body: bytes, media: str, status: int, rule: str
) -> None:
    before = AuditEntry.objects.filter(action="order.import", outcome="refused").count()
    answer = tomas.post(IMPORT, body, content_type=media)
    assert answer.status_code == status, answer.content
    assert answer["Content-Type"] == "application/problem+json"
    assert [one["rule"] for one in answer.json()["refused"]] == [rule]
    assert AuditEntry.objects.filter(action="order.import", outcome="refused").count() == before + 1
    assert not Order.objects.exists()


def test_one_fhir_order_is_created_once(tomas: Client) -> None:
    body = json.dumps(single())
    answer = tomas.post(f"{FHIR}/MedicationRequest", body, content_type=FHIR_JSON)
    assert answer.status_code == 201, answer.content
    assert answer["Content-Type"] == FHIR_JSON
    code = Order.objects.get().code
    assert answer["Location"] == f"/api/v1/order/{code}"
    assert answer.json()["resourceType"] == "OperationOutcome"
    assert answer.json()["issue"][0]["details"]["text"] == f"order {code}, waiting"
    again = tomas.post(f"{FHIR}/MedicationRequest", body, content_type=FHIR_JSON)
    assert (again.status_code, again["Location"], Order.objects.count()) == (200, answer["Location"], 1)


@pytest.mark.parametrize(
    ("kind", "answered"),
    [
        ("collection", "transaction-response"),
        ("transaction", "transaction-response"),
        ("batch", "batch-response"),
    ],
)
def test_a_bundle_is_answered_entry_by_entry(tomas: Client, kind: str, answered: str) -> None:
    value = json.loads(BUNDLE) | {"type": kind}
    if kind != "collection":
        for entry in value["entry"]:
            entry["request"] = {"method": "POST", "url": entry["resource"]["resourceType"]}
    answer = tomas.post(FHIR, json.dumps(value), content_type=FHIR_JSON)
    assert answer.status_code == 200, answer.content
    body = answer.json()
    assert (body["resourceType"], body["type"], len(body["entry"])) == ("Bundle", answered, 5)
    assert [one["response"]["status"] for one in body["entry"]] == [*["200 OK"] * 4, "201 Created"]
    assert body["entry"][4]["response"]["location"] == f"/api/v1/order/{Order.objects.get().code}"


def test_what_is_wrong_in_fhir_is_an_outcome_that_names_the_element(tomas: Client) -> None:
    value = json.loads(BUNDLE)
    request = value["entry"][4]["resource"]
    request["doNotPerform"] = True
    request["dosageInstruction"][2]["doseAndRate"][0]["doseQuantity"]["unit"] = "micrograms"
    answer = tomas.post(FHIR, json.dumps(value), content_type=FHIR_JSON)
    assert answer.status_code == 422
    assert answer["Content-Type"] == FHIR_JSON
    issues = answer.json()["issue"]
    base = "Bundle.entry[4].resource"
    assert {one["expression"][0] for one in issues} == {
        f"{base}.doNotPerform",
        f"{base}.dosageInstruction[2].doseAndRate[0].doseQuantity.unit",
    }
    assert {one["severity"] for one in issues} == {"error"}
    assert not Order.objects.exists()


@pytest.mark.parametrize("path", [FHIR, f"{FHIR}/MedicationRequest"])
def test_bad_bodies_and_strangers_are_answered_in_fhir_too(cast: Cast, path: str) -> None:
    program = Client()
    for client, body, media, status in (
        (program, BUNDLE, FHIR_JSON, 401),
        (as_person(cast.users["otto.krug"]), BUNDLE, FHIR_JSON, 403),
        (as_person(cast.users["tomas.lind"]), b'{"a": 1, "a": 2}', FHIR_JSON, 422),
        (as_person(cast.users["tomas.lind"]), b"<Bundle/>", "application/fhir+xml", 415),
        (as_person(cast.users["tomas.lind"]), b'{"resourceType": "Observation"}', FHIR_JSON, 422),
    ):
        answer = client.post(path, body, content_type=media)
        assert answer.status_code == status, answer.content
        assert answer["Content-Type"] == FHIR_JSON
        assert answer.json()["resourceType"] == "OperationOutcome"
        assert answer.json()["issue"][0]["details"]["text"]
    assert not Order.objects.exists()


def test_the_page_takes_a_file_and_tells_what_became_of_each_order(tomas: Client) -> None:
    form = tomas.get("/order/new/import").content.decode()
    assert 'enctype="multipart/form-data"' in form
    template = tomas.get("/order/new/import/template.csv").content
    assert template.startswith(b"\xef\xbb\xbfreference,")
    bad = CSV.replace(b"2 mg,,13:00", b"2 Mg,,13:00")
    answer = tomas.post("/order/new/import", {"file": SimpleUploadedFile("orders.csv", bad), "source": "ward 4"})
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "1 taken, 0 had come before, 1 refused" in page
    assert "line 3, dose" in page
    assert f"/order/{Order.objects.get().code}" in page


def test_the_page_refuses_beside_the_form_and_keeps_what_was_typed(tomas: Client, cast: Cast) -> None:
    for given, status, words in (
        ({}, 422, "either a file or its text is needed"),
        ({"text": "a,b\n1,2"}, 422, "the column is not known here"),
        ({"file": SimpleUploadedFile("x.csv", b"\xff"), "text": ""}, 422, "no UTF-8"),
        ({"file": SimpleUploadedFile("x.csv", b"x" * 1_000_001), "text": ""}, 413, "is too large"),
    ):
        answer = tomas.post("/order/new/import", given)
        assert answer.status_code == status
        assert words in answer.content.decode()
    assert "a,b" in tomas.post("/order/new/import", {"text": "a,b\n1,2"}).content.decode()
    assert as_person(cast.users["otto.krug"]).get("/order/new/import").status_code == 403
    assert not Order.objects.exists()
