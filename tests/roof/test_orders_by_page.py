"""An order by the form: the same JSON, errors beside their fields, and a signature only under what was shown."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from django.test import Client

from dosewright.ground.models import Signature
from dosewright.roof.api.rendering import Json
from dosewright.roof.pages.facts import section_of
from prescriptions import services
from tests.cast import PASSWORD, Cast, demo_substance, found_cast
from tests.roof.conftest import as_person

PATIENT = {
    "patient.identifier.system": "urn:demo:hospital-number",
    "patient.identifier.value": "D-1001",
    "patient.family_name": "Aster",
    "patient.given_name": "Liv",
    "patient.birth_date": "2019-05-04",
    "patient.sex": "female",
    "patient.weight.value": "16.2",
    "patient.weight.measured_on": "2026-03-01",
    "patient.allergies.status": "none",
    "patient.swallowing": "solids",
}
ORDER = {
    "reference": "page-0001",
    "substance": "hydrocortisone",
    "release": "immediate",
    "route": "oral",
    "reason": "no licensed tablet of these strengths",
}


def steps(*doses: tuple[str, str]) -> dict[str, str]:
    """Return the steps of the form."""
    found = {"steps": str(len(doses))}
    for place, (dose, times) in enumerate(doses):
        name = f"regimen.steps[{place}]"
        found |= {
            f"{name}.dose": dose,
            f"{name}.times": times,
            f"{name}.start_date": "2099-03-10",
            f"{name}.days": "28",
        }
    return found


UNEQUAL = steps(("3 mg", "07:00"), ("2 mg", "13:00"), ("1.75 mg", "19:00"))


@pytest.fixture
def cast(db: None) -> Cast:
    """The demo site with hydrocortisone set up."""
    cast = found_cast()
    demo_substance(cast)
    return cast


@pytest.fixture
def mira(cast: Cast) -> Client:
    """The prescriber's browser."""
    return as_person(cast.users["mira.voss"])


def entered(mira: Client) -> str:
    """Enter the order by the form and return its code."""
    answer = mira.post("/order/new", {**PATIENT, **ORDER, **UNEQUAL})
    assert answer.status_code == 302, answer.content.decode()
    found = re.fullmatch(r"/order/(RX-\w+)/sign", answer["Location"])
    assert found
    return found[1]


def digest_on(page: str) -> str:
    """Return the digest that a form sends back."""
    found = re.search(r'name="shown_digest" value="([0-9a-f]{64})"', page)
    assert found
    return found[1]


def test_unequal_doses_by_the_form_then_signed(cast: Cast, mira: Client) -> None:
    code = entered(mira)
    shown = mira.get(f"/order/{code}/sign").content.decode()
    for dose in ("3 mg", "2 mg", "1.75 mg"):
        assert dose in shown
    assert "2.25" not in shown
    digest = digest_on(shown)
    assert f'class="digest">{digest}<' in shown
    record = services.order_record(cast.mira, code)
    assert [line["dose_mg"] for line in record["lines"]] == ["3", "2", "1.75"]
    answer = mira.post(f"/order/{code}/sign", {"shown_digest": digest, "password": PASSWORD})
    assert (answer.status_code, answer["Location"]) == (302, f"/order/{code}")
    assert Signature.objects.get(subject=code).shown_digest == digest
    assert "received" in mira.get(f"/order/{code}").content.decode()


def test_a_wrong_password_or_another_digest_signs_nothing(cast: Cast, mira: Client) -> None:
    code = entered(mira)
    digest = digest_on(mira.get(f"/order/{code}/sign").content.decode())
    wrong = mira.post(f"/order/{code}/sign", {"shown_digest": digest, "password": "not mine"})
    assert wrong.status_code == 403
    assert 'href="#f-password"' in wrong.content.decode()
    assert "not mine" not in wrong.content.decode()
    changed = mira.post(f"/order/{code}/sign", {"shown_digest": "0" * 64, "password": PASSWORD})
    page = changed.content.decode()
    assert changed.status_code == 409
    assert "has changed since" in page
    assert digest_on(page) == digest
    assert not Signature.objects.exists()


def test_an_amended_order_is_not_signed_under_the_old_record(cast: Cast, mira: Client) -> None:
    code = entered(mira)
    digest = digest_on(mira.get(f"/order/{code}/sign").content.decode())
    mira.post(f"/order/{code}/sign", {"shown_digest": digest, "password": PASSWORD})
    form = mira.get(f"/order/{code}/amend").content.decode()
    assert 'value="1.75 mg"' in form
    patient = re.search(r'name="patient.code" value="(PA-\w+)"', form)
    assert patient
    change = {**ORDER, **steps(("3 mg", "07:00"), ("2.5 mg", "13:00")), "patient.code": patient[1]}
    registration = re.search(r'name="prescriber.registration" value="([^"]*)"', form)
    assert registration
    change |= {"prescriber.registration": registration[1], "change_reason": "evening dose stopped"}
    answer = mira.post(f"/order/{code}/amend", change)
    assert (answer.status_code, answer.get("Location")) == (302, f"/order/{code}/sign"), answer.content.decode()
    stale = mira.post(f"/order/{code}/sign", {"shown_digest": digest, "password": PASSWORD})
    assert stale.status_code == 409
    assert Signature.objects.filter(subject=code).count() == 1
    fresh = digest_on(stale.content.decode())
    assert fresh != digest
    assert mira.post(f"/order/{code}/sign", {"shown_digest": fresh, "password": PASSWORD}).status_code == 302


def test_what_is_wrong_stands_beside_its_field_and_what_was_typed_is_kept(mira: Client) -> None:
    bad = {**PATIENT, **ORDER, **steps(("3 Mg", "07:00"), ("0 mg", "25:00")), "patient.birth_date": "2199-01-01"}
    answer = mira.post("/order/new", bad)
    page = answer.content.decode()
    assert answer.status_code == 422
    for name in ("patient.birth_date", "regimen.steps[0].dose", "regimen.steps[1].dose", "regimen.steps[1].times"):
        assert f'href="#f-{name}"' in page, name
        assert re.search(rf'id="f-{re.escape(name)}"[^>]*aria-invalid="true"', page), name
    assert "Step 2, Dose:" in page
    assert 'value="3 Mg"' in page
    assert 'value="Aster"' in page


def test_what_is_wrong_as_a_whole_stands_beside_the_field_that_answers_for_it(mira: Client) -> None:
    bare = {name: value for name, value in PATIENT.items() if "identifier" not in name and "allergies" not in name}
    page = mira.post("/order/new", {**bare, **ORDER, **UNEQUAL}).content.decode()
    for name in ("patient.identifier.value", "patient.allergies.status"):
        assert f'href="#f-{name}"' in page, name


def test_a_step_is_added_and_taken_away_without_script(mira: Client) -> None:
    more = mira.post("/order/new", {**ORDER, **steps(("3 mg", "07:00")), "add": "1"}).content.decode()
    assert 'name="regimen.steps[1].dose"' in more
    assert re.search(r'name="regimen.steps\[1\].start_date"[^>]*value="2099-03-10"', more)
    assert re.search(r'name="regimen.steps\[1\].dose"[^>]*value=""', more)
    fewer = mira.post("/order/new", {**ORDER, **UNEQUAL, "drop": "1"}).content.decode()
    assert 'name="regimen.steps[2].dose"' not in fewer


def test_the_form_makes_the_order_that_rest_makes(cast: Cast, mira: Client) -> None:
    by_page = services.order_record(cast.mira, entered(mira))
    body: dict[str, Any] = {
        "reference": "rest-0001",
        "patient": {"code": mira.get("/api/v1/patient").json()["items"][0]["code"]},
        **{name: ORDER[name] for name in ("substance", "release", "route", "reason")},
        "regimen": {
            "steps": [
                {"dose": dose, "times": [at], "start_date": "2099-03-10", "days": 28}
                for dose, at in (("3 mg", "07:00"), ("2 mg", "13:00"), ("1.75 mg", "19:00"))
            ]
        },
    }
    made = mira.post("/api/v1/order", {"order": body}, content_type="application/json")
    assert made.status_code == 201, made.content
    by_rest = services.order_record(cast.mira, made.json()["code"])
    for name in ("steps", "lines", "substance", "release", "route", "reason", "ready_by"):
        assert by_page[name] == by_rest[name], name


def step_of(place: int, dose: str, **more: str | list[str]) -> dict[str, str | list[str]]:
    """Return the fields of one step of the form, four weeks from 10 March 2099."""
    name = f"regimen.steps[{place}]"
    fields = {"dose": dose, "start_date": "2099-03-10", "days": "28"} | more
    return {f"{name}.{field}": value for field, value in fields.items()}


TIMINGS: list[tuple[dict[str, str | list[str]], str]] = [
    ({"slots": ["with breakfast", "at bedtime"]}, "with breakfast and at bedtime every day"),
    ({"times": "07:00", "weekdays": ["monday", "thursday"]}, "at 07:00 on Mondays and Thursdays"),
    ({"times": "07:00", "every_n_days": "2"}, "at 07:00 every 2 days"),
    (
        {"as_needed.least_interval": "6 h", "as_needed.most_per_day": "4", "as_needed.reason": "pain"},
        "when needed for pain, at least 6 h apart and at most 4 in 24 hours",
    ),
]


@pytest.mark.parametrize(("fields", "taken"), TIMINGS)
def test_every_timing_by_the_form_and_back_into_it(
    cast: Cast, mira: Client, fields: dict[str, str | list[str]], taken: str
) -> None:
    answer = mira.post("/order/new", {**PATIENT, **ORDER, "steps": "1", **step_of(0, "3 mg", **fields)})
    assert answer.status_code == 302, answer.content.decode()
    code = answer["Location"].split("/")[2]
    record = services.order_record(cast.mira, code)
    assert [line["taken"] for line in record["lines"]] == [taken]
    assert taken in mira.get(f"/order/{code}").content.decode()
    again = mira.get(f"/order/{code}/amend").content.decode()
    assert '<details class="more-timing" open>' in again
    for name, value in fields.items():
        for one in value if isinstance(value, list) else [value]:
            field = re.escape(f"regimen.steps[0].{name}")
            checked = r"[^>]* checked" if isinstance(value, list) else ""
            assert re.search(rf'name="{field}"[^>]*value="{one}"{checked}', again), (name, one)


def test_a_timing_that_is_wrong_stands_beside_its_field(mira: Client) -> None:
    wrong = {
        **step_of(0, "3 mg", **{"as_needed.least_interval": "6", "as_needed.most_per_day": "four"}),
        **step_of(1, "3 mg", times="07:00", slots=["with lunch"]),
        **step_of(2, "3 mg", times="07:00", every_n_days="0"),
    }
    page = mira.post("/order/new", {**PATIENT, **ORDER, "steps": "3", **wrong}).content.decode()
    for name in ("[0].as_needed.least_interval", "[0].as_needed.most_per_day", "[1].slots", "[2].every_n_days"):
        assert f'href="#f-regimen.steps{name}"' in page, name
    assert page.count('<details class="more-timing" open>') == 3


def test_an_order_is_ordered_again_and_the_verifier_sees_both_side_by_side(cast: Cast, mira: Client) -> None:
    first = entered(mira)
    digest = digest_on(mira.get(f"/order/{first}/sign").content.decode())
    mira.post(f"/order/{first}/sign", {"shown_digest": digest, "password": PASSWORD})
    assert f'href="/order/new?repeats={first}"' in mira.get(f"/order/{first}").content.decode()
    form = mira.get(f"/order/new?repeats={first}").content.decode()
    patient = re.search(r'name="patient.code"[^>]*value="(PA-\w+)"', form)
    assert patient
    assert re.search(rf'name="repeats.order"[^>]*value="{first}"', form)
    assert re.search(r'name="regimen.steps\[2\].dose"[^>]*value="1.75 mg"', form)
    assert re.search(r'name="regimen.steps\[2\].start_date"[^>]*value=""', form)
    new = {**ORDER, **steps(("3.5 mg", "07:00"), ("2 mg", "13:00"), ("1.75 mg", "19:00"))}
    new |= {"reference": "page-0002", "patient.code": patient[1], "repeats.order": first, "supply_days": "14"}
    unsaid = mira.post("/order/new", new)
    assert unsaid.status_code == 422
    assert 'href="#f-repeats.change"' in unsaid.content.decode()
    answer = mira.post("/order/new", new | {"repeats.change": "raised for growth"})
    assert answer.status_code == 302, answer.content.decode()
    page = as_person(cast.users["rosa.keller"]).get(answer["Location"].removesuffix("/sign")).content.decode()
    assert "raised for growth" in page
    assert '<td data-label="Before">3 mg at 07:00 every day for 28 days</td>' in page
    assert "<strong>3.5 mg at 07:00 every day for 28 days</strong>" in page
    assert "Handed over in supplies of 14 days." in page


def test_an_order_again_is_for_those_who_enter_orders(cast: Cast, mira: Client) -> None:
    code = entered(mira)
    assert "/order/new?repeats=" not in as_person(cast.users["otto.krug"]).get(f"/order/{code}").content.decode()


def test_if_match_guards_an_action(cast: Cast, mira: Client) -> None:
    code = entered(mira)
    tag = mira.get(f"/api/v1/order/{code}")["ETag"]
    stop = {"reason": "entered twice"}
    wrong = mira.post(f"/api/v1/order/{code}/stop", stop, content_type="application/json", headers={"If-Match": '"99"'})
    assert wrong.status_code == 412
    assert wrong.json()["type"] == "urn:dosewright:problem:stale"
    right = mira.post(f"/api/v1/order/{code}/stop", stop, content_type="application/json", headers={"If-Match": tag})
    assert right.status_code == 200


def test_rest_gives_what_is_signed_with_its_digest(cast: Cast, mira: Client) -> None:
    code = entered(mira)
    facts = mira.get(f"/api/v1/order/{code}/sign").json()
    assert facts["may"]
    assert facts["signed"]
    assert facts["shown"]["lines"][2]["dose_mg"] == "1.75"
    body = {"shown_digest": facts["shown_digest"], "password": PASSWORD}
    assert mira.post(f"/api/v1/order/{code}/sign", body, content_type="application/json").status_code == 200
    made = mira.post("/api/v1/token", {"name": "list"}, content_type="application/json").json()
    program = Client(headers={"Authorization": f"Bearer {made['token']}"})
    refused = program.post(f"/api/v1/order/{code}/sign", body, content_type="application/json")
    assert refused.status_code in {403, 409}
    assert Signature.objects.filter(subject=code).count() == 1


def test_numbers_of_rows_never_leave_the_house(cast: Cast, mira: Client) -> None:
    code = entered(mira)
    text = mira.get(f"/api/v1/order/{code}").content.decode() + mira.get(f"/order/{code}").content.decode()
    assert "user_id" not in text
    assert "User id" not in text
    internal = {"pk": 1, "site_id": 2, "code": "x", "signatures": [{"user_id": 3, "at": "y"}], "ids": 4}
    assert json.loads(Json().render(internal)) == {"code": "x", "signatures": [{"at": "y"}], "ids": 4}
    assert [item.label for item in section_of(internal).items] == ["Code", "Ids"]
