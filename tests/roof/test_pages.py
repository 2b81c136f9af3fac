"""Every page by every role: shown or refused with who could, never a fault; and nothing inline."""

from __future__ import annotations

import re

import pytest
from django.test import Client

from dosewright.ground.models import User
from dosewright.ground.pure.roles import READS
from dosewright.ground.rest import DOORS, LOOKS
from dosewright.roof.api import registry
from tests.roof.conftest import ONE_OF_EACH, PASSWORD

registry.load()
OPEN = ("/sign-in", "/cautions")
BY_HAND = ("/", "/trace", "/find?code=RX-3333333Q")
INLINE = re.compile(r"<style|\sstyle\s*=|<script|\son[a-z]+\s*=|javascript:", re.IGNORECASE)
NEVER = re.compile(r"Traceback|\{\{|\{%|object at 0x")


def every_address() -> list[str]:
    """Return an address of every page, with a code that no record has."""
    lists = [f"/{subject}" for subject, one in LOOKS.items() if registry.shows_page(one)]
    made = [f"/{one.subject}/new" + (f"/{one.verb}" if one.verb else "") for one in DOORS.values() if one.creates]
    return [*BY_HAND, *OPEN, *lists, *made]


def addresses_of_records() -> list[str]:
    """Return an address of each page of a record that is not there."""
    single = [f"/{subject}/RX-3333333A" for subject in registry.subjects()]
    acts = [f"/{one.subject}/RX-3333333A/{one.verb}" for one in DOORS.values() if not one.creates]
    return [*single, *acts, "/trace/RX-3333333A", "/document/DC-3333333A/file"]


@pytest.mark.parametrize("name", ONE_OF_EACH)
def test_every_page_is_shown_or_refused_with_who_could(clients: dict[str, Client], name: str) -> None:
    client = clients[name]
    client.raise_request_exception = True
    for address in [*every_address(), *addresses_of_records()]:
        answer = client.get(address)
        body = answer.content.decode()
        assert answer.status_code in {200, 302, 403, 404, 409, 422, 503}, address
        assert not NEVER.search(body), address
        assert not INLINE.search(body), address
        assert "default-src 'none'" in answer["Content-Security-Policy"], address
        assert answer["Cache-Control"] == "no-store", address
        if answer.status_code == 403:
            assert "Who could:" in body, address


@pytest.mark.parametrize("name", ONE_OF_EACH)
def test_lists_open_exactly_to_the_roles_that_may_see_them(clients: dict[str, Client], name: str) -> None:
    for subject, look in LOOKS.items():
        if not registry.shows_page(look):
            continue
        status = clients[name].get(f"/{subject}").status_code
        assert status == (200 if ONE_OF_EACH[name] in READS[look.reads] else 403), subject
        assert clients[name].get(f"/api/v1/{subject}").status_code == status, subject


@pytest.mark.parametrize("name", ONE_OF_EACH)
def test_forms_open_exactly_to_the_roles_of_the_action(clients: dict[str, Client], name: str) -> None:
    made = [one for one in DOORS.values() if one.creates]
    assert made
    for door in made:
        address = f"/{door.subject}/new" + (f"/{door.verb}" if door.verb else "")
        expected = 200 if ONE_OF_EACH[name] in door.rule().roles else 403
        assert clients[name].get(address).status_code == expected, door.action


def test_pages_send_strangers_to_sign_in_and_back(db: None) -> None:
    answer = Client().get("/person?after=x")
    assert answer.status_code == 302
    assert answer["Location"] == "/sign-in?back=%2Fperson%3Fafter%3Dx"


def test_signing_in_by_page_goes_where_one_was_going(people: dict[str, User]) -> None:
    client = Client()
    given = {"username": "paul.berg", "password": PASSWORD, "back": "/person"}
    answer = client.post("/sign-in", given)
    assert (answer.status_code, answer["Location"]) == (302, "/person")
    assert "Rosa Keller" in client.get("/person").content.decode()
    assert client.post("/sign-out").status_code == 302
    assert client.get("/person").status_code == 302


def test_signing_in_never_leads_to_another_site(people: dict[str, User]) -> None:
    for elsewhere in ("https://example.org/", "//example.org/", "\\\\example.org", "javascript:alert(1)"):
        given = {"username": "paul.berg", "password": PASSWORD, "back": elsewhere}
        assert Client().post("/sign-in", given)["Location"] == "/", elsewhere


def test_an_old_form_is_refused_with_what_to_do(people: dict[str, User]) -> None:
    client = Client(enforce_csrf_checks=True)
    answer = client.post("/sign-in", {"username": "paul.berg", "password": PASSWORD})
    assert answer.status_code == 403
    assert "Open the page again" in answer.content.decode()


def test_giving_a_role_by_its_form(clients: dict[str, Client], people: dict[str, User]) -> None:
    code = people["mira.voss"].code
    page = clients["paul.berg"].get(f"/person/{code}").content.decode()
    assert f'href="/person/{code}/grant"' in page
    wrong = clients["paul.berg"].post(f"/person/{code}/grant", {"role": "owner"})
    assert wrong.status_code == 422
    assert 'href="#f-role"' in wrong.content.decode()
    assert not people["mira.voss"].grants.filter(role="pharmacist").exists()
    done = clients["paul.berg"].post(f"/person/{code}/grant", {"role": "pharmacist"})
    assert (done.status_code, done["Location"]) == (302, f"/person/{code}")
    assert people["mira.voss"].grants.filter(role="pharmacist").exists()


def test_who_may_not_is_told_who_could(clients: dict[str, Client], people: dict[str, User]) -> None:
    page = clients["otto.krug"].get(f"/person/{people['mira.voss'].code}").content.decode()
    assert "Give a role" in page
    assert "a site manager" in page
    assert "/grant" not in page


def test_a_token_is_shown_once_on_its_own_page(clients: dict[str, Client], people: dict[str, User]) -> None:
    answer = clients["rosa.keller"].post("/token/new", {"name": "ward list", "days": "30"})
    assert answer.status_code == 200
    body = answer.content.decode()
    token = re.search(r'class="secret">([0-9a-f]{64})<', body)
    assert token
    assert token[1] not in clients["rosa.keller"].get("/token").content.decode()
    with_token = Client(headers={"Authorization": f"Bearer {token[1]}"})
    assert with_token.get("/api/v1/session").json()["channel"] == "token"


def test_the_audit_page_filters_and_verifies(clients: dict[str, Client], people: dict[str, User]) -> None:
    code = people["mira.voss"].code
    clients["paul.berg"].post(f"/person/{code}/grant", {"role": "pharmacist"})
    page = clients["otto.krug"].get("/audit?action=person.grant").content.decode()
    assert "person.grant" in page
    assert "person.grant" not in clients["otto.krug"].get("/audit?action=nothing").content.decode()
    done = clients["otto.krug"].post("/audit/new/verify")
    assert done.status_code == 200
    assert "Faults" in done.content.decode()
