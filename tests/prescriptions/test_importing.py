"""Files of orders at the service and at the door: who may, what is kept, what a second file changes."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import pytest

from dosewright.ground.models import AuditEntry, Signature
from dosewright.ground.pure.errors import BadInput, NotAllowed
from dosewright.ground.rest import DOORS, LOOKS, plain
from prescriptions import api, services
from prescriptions.models import Order, OrderVersion, Patient
from prescriptions.services import import_file
from tests.cast import NOW, Cast, pen
from tests.imports import example
from tests.orders import order_json

CSV, BUNDLE = example("orders_example.csv"), example("bundle_example.json")


def bring(cast: Cast, data: bytes, *, by: str = "tomas.lind", **more: Any) -> services.ImportAnswer:
    """Import a file as a person does."""
    return import_file(cast.act(by), data=data, at=NOW, **more)


def rows() -> tuple[int, int, int]:
    """Count what an import could leave."""
    return Order.objects.count(), OrderVersion.objects.count(), Patient.objects.count()


def bundle(**changes: Any) -> dict[str, Any]:
    """Return the example Bundle with parts of its MedicationRequest replaced."""
    value: dict[str, Any] = json.loads(BUNDLE)
    request = value["entry"][-1]["resource"]
    for name, change in changes.items():
        request[name] = change
    return value


def test_a_csv_file_is_kept_waiting_with_who_prescribed_and_who_brought_it(cast: Cast) -> None:
    answer = bring(cast, CSV)
    assert (answer.form, answer.delimiter, answer.taken, answer.repeated, answer.refused) == ("csv", ",", 2, 0, ())
    assert [(one.reference, one.lines, one.state) for one in answer.orders] == [
        ("EXAMPLE-CSV-1", (2, 3, 4), "waiting"),
        ("EXAMPLE-CSV-2", (5,), "waiting"),
    ]
    version = OrderVersion.objects.get(order__code=answer.orders[0].code)
    assert (version.prescriber_registration, version.prescriber_id) == ("EXAMPLE-REG-7", None)
    assert version.submitted_by.username == "tomas.lind"
    assert sorted(line.dose_mg for line in version.lines.all()) == [Decimal("1.75"), 2, 3]
    assert not Signature.objects.exists()


def test_what_the_sender_wrote_is_shown_to_who_treats_and_signs_and_to_nobody_else(cast: Cast) -> None:
    value = bundle()
    value["entry"][-1]["resource"]["dosageInstruction"][0]["text"] = "30 mg in the morning"
    answer = bring(cast, json.dumps(value).encode())
    (code,) = (one.code for one in answer.orders)
    assert any("words of the sender" in one for one in answer.orders[0].notes)
    assert services.order_record(cast.rosa, code)["sender_words"] == "30 mg in the morning"
    seen = {
        who: LOOKS["order"]().one(cast.act(who), code, at=NOW).sender_words for who in ("rosa.keller", "tomas.lind")
    }
    assert seen == {"rosa.keller": "30 mg in the morning", "tomas.lind": ""}


def test_an_imported_order_is_attested_by_a_pharmacist_who_saw_the_original(cast: Cast) -> None:
    code = bring(cast, BUNDLE).orders[0].code
    shown = services.order_record(cast.rosa, code)
    answer = services.attest_order(cast.rosa, code, reference="paper 7", seen_on=NOW.date(), pen=pen(shown), at=NOW)
    assert answer.state == "received"
    assert shown["sender_words"] is None
    assert shown["source"] == "urn:example:orders"


@pytest.mark.parametrize("data", [CSV, BUNDLE], ids=["csv", "fhir"])
def test_a_second_import_changes_nothing_whoever_brings_it(cast: Cast, data: bytes) -> None:
    first = bring(cast, data)
    before = rows()
    second = bring(cast, data, by="rosa.keller")
    assert rows() == before
    assert [one.code for one in second.orders] == [one.code for one in first.orders]
    assert (second.taken, second.repeated, second.refused) == (0, len(first.orders), ())
    assert OrderVersion.objects.filter(submitted_by__username="rosa.keller").count() == 0


def test_the_same_reference_with_another_dose_is_a_conflict_that_names_its_line(cast: Cast) -> None:
    bring(cast, CSV)
    answer = bring(cast, CSV.replace(b"1.75 mg,,19:00", b"17.5 mg,,19:00"))
    assert [one.rule for one in answer.refused] == ["reference"]
    assert answer.refused[0].field == "line 2, reference"
    assert (answer.taken, answer.repeated) == (0, 1)
    assert rows()[:2] == (2, 2)


def test_one_bad_row_stops_no_other_order_of_a_csv_file(cast: Cast) -> None:
    answer = bring(cast, CSV.replace(b"2 mg,,13:00", b"2 Mg,,13:00"))
    assert [(one.reference, bool(one.code)) for one in answer.orders] == [
        ("EXAMPLE-CSV-1", False),
        ("EXAMPLE-CSV-2", True),
    ]
    assert [(one.field, one.rule) for one in answer.refused] == [("line 3, dose", "unit")]
    assert AuditEntry.objects.filter(action="order.import", outcome="refused").count() == 1


def test_a_bundle_is_taken_whole_or_not_at_all(cast: Cast) -> None:
    value = bundle()
    good = value["entry"][-1]
    bad = json.loads(json.dumps(good))
    bad["fullUrl"] = "urn:uuid:6a1d5b1e-3f0a-4c52-9d8e-0b1f2c3d4e09"
    bad["resource"]["identifier"][0]["value"] = "EXAMPLE-FHIR-2"
    bad["resource"]["contained"][0]["code"]["text"] = "unobtainium"
    value["entry"].append(bad)
    answer = bring(cast, json.dumps(value).encode())
    assert rows() == (0, 0, 0)
    assert [one.refused[0].rule for one in answer.orders] == ["whole", "substance"]
    assert answer.refused[1].field == "Bundle.entry[5].resource.medicationReference"
    bad["resource"]["contained"][0]["code"]["text"] = "hydrocortisone"
    answer = bring(cast, json.dumps(value).encode())
    assert (answer.taken, answer.refused, rows()) == (2, (), (2, 2, 1))
    entries = AuditEntry.objects.filter(outcome="done").order_by("seq").values_list("action", "subject")
    assert list(entries)[-3:] == [("order.import", ""), *(("order.enter", one.code) for one in answer.orders)]


def test_what_is_only_found_while_keeping_undoes_the_whole_bundle(cast: Cast) -> None:
    value = bundle()
    other = json.loads(json.dumps(value["entry"]))
    other[0]["resource"]["name"][0]["family"] = "Otherwood"
    for number, entry in enumerate(other):
        entry["fullUrl"] = entry["fullUrl"][:-2] + f"{number + 20}"
    text = json.dumps(other)
    for number in range(4):
        text = text.replace(f'4e0{number + 1}"', f'4e{number + 20}"')
    text = text.replace("EXAMPLE-FHIR-1", "EXAMPLE-FHIR-2")
    value["entry"] += json.loads(text)
    answer = bring(cast, json.dumps(value).encode())
    assert rows() == (0, 0, 0)
    assert {one.rule for one in answer.refused} == {"whole", "wrong-patient"}


@pytest.mark.parametrize("by", ["otto.krug", "nora.stein", "paul.berg"])
def test_others_do_not_import_and_leave_a_row(cast: Cast, by: str) -> None:
    with pytest.raises(NotAllowed):
        bring(cast, CSV, by=by)
    assert AuditEntry.objects.filter(action="order.import", outcome="refused", actor__username=by).count() == 1


def test_an_order_that_names_no_prescriber_is_refused_to_whoever_is_none(cast: Cast) -> None:
    data = json.dumps([order_json()]).encode()
    assert [one.field for one in bring(cast, data).refused] == ["prescriber"]
    answer = bring(cast, data, by="mira.voss")
    assert [one.state for one in answer.orders] == ["waiting"]


def test_the_door_answers_each_order_and_refuses_where_nothing_was_taken(cast: Cast) -> None:
    assert api.importing.ImportOrders is DOORS["order+import"]
    door = DOORS["order+import"]()
    answer = plain(door.take(cast.tomas, "", {"text": CSV.decode(), "source": "ward 4"}, at=NOW))
    assert [one["source"] for one in answer["orders"]] == ["ward 4", "ward 4"]
    before = AuditEntry.objects.count()
    with pytest.raises(BadInput) as refused:
        door.take(cast.tomas, "", {"text": CSV.decode().replace("hydrocortisone", "unobtainium")}, at=NOW)
    assert {one.rule for one in refused.value.refusals} == {"substance"}
    assert AuditEntry.objects.count() == before + 2
