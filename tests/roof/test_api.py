"""The REST API: who comes in, one error shape for everything, and bad bodies that change nothing."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.core.management import call_command
from django.test import Client

from dosewright.ground.models import AuditEntry, Token, User
from dosewright.ground.rest import DOORS, LOOKS
from dosewright.roof.api import registry
from dosewright.roof.api.door_views import operation_of
from dosewright.roof.api.parsing import MOST_BYTES
from tests.roof.conftest import PASSWORD, as_person

registry.load()
JSON = "application/json"
PROBLEM = {"type", "title", "status", "detail", "refused"}


def problem_of(answer: Any, status: int) -> dict[str, Any]:
    """Return the problem document after checking its shape."""
    assert answer.status_code == status, answer.content
    assert answer["Content-Type"] == "application/problem+json"
    body: dict[str, Any] = json.loads(answer.content)
    assert set(body) == PROBLEM
    assert body["status"] == status
    assert body["type"].startswith("urn:dosewright:problem:")
    return body


def signed_in_by_json(username: str) -> tuple[Client, str]:
    """Return a client with CSRF checks on, signed in by the API, and its CSRF token."""
    client = Client(enforce_csrf_checks=True)
    answer = client.post("/api/v1/session", {"username": username, "password": PASSWORD}, content_type=JSON)
    assert answer.status_code == 201, answer.content
    return client, answer.json()["csrf_token"]


def test_a_session_is_opened_used_and_closed(people: dict[str, User]) -> None:
    client, token = signed_in_by_json("paul.berg")
    who = client.get("/api/v1/session").json()
    assert (who["username"], who["roles"], who["channel"]) == ("paul.berg", ["site manager"], "session")
    address = f"/api/v1/person/{people['mira.voss'].code}/grant"
    body = {"role": "pharmacist"}
    refused = problem_of(client.post(address, body, content_type=JSON), 403)
    assert "CSRF" in refused["detail"]
    assert client.post(address, body, content_type=JSON, headers={"X-CSRFToken": token}).status_code == 200
    assert client.delete("/api/v1/session", headers={"X-CSRFToken": token}).status_code == 204
    problem_of(client.get("/api/v1/session"), 401)


def test_nobody_known_is_answered_401_at_every_address(db: None) -> None:
    for subject in LOOKS:
        problem_of(Client().get(f"/api/v1/{subject}/RX-3333333A"), 401 if registry.shows_one(LOOKS[subject]) else 404)
    for door in DOORS.values():
        tail = ("" if door.creates else "/RX-3333333A") + (f"/{door.verb}" if door.verb else "")
        problem_of(Client().post(f"/api/v1/{door.subject}{tail}", {}, content_type=JSON), 401)


def test_addresses_and_methods_that_are_none(clients: dict[str, Client]) -> None:
    problem_of(clients["otto.krug"].get("/api/v1/nothing"), 404)
    problem_of(clients["otto.krug"].get("/api/v2/order"), 404)
    problem_of(clients["otto.krug"].put("/api/v1/audit", {}, content_type=JSON), 405)


def test_a_token_acts_but_makes_no_tokens(people: dict[str, User]) -> None:
    client, csrf = signed_in_by_json("paul.berg")
    made = client.post("/api/v1/token", {"name": "list"}, content_type=JSON, headers={"X-CSRFToken": csrf})
    token = made.json()["token"]
    assert not Token.objects.filter(digest__contains=token).exists()
    program = Client(headers={"Authorization": f"Bearer {token}"}, enforce_csrf_checks=True)
    assert program.get("/api/v1/person").status_code == 200
    more = problem_of(program.post("/api/v1/token", {"name": "more"}, content_type=JSON), 403)
    assert more["refused"][0]["rule"] == "token"
    address = f"/api/v1/token/{made.json()['code']}/revoke"
    assert client.post(address, {}, content_type=JSON, headers={"X-CSRFToken": csrf}).status_code == 200
    problem_of(program.get("/api/v1/person"), 401)
    for nonsense in ("Bearer", "Bearer a b", f"Bearer {'0' * 64}", "Bearer \xff\xfe"):
        problem_of(Client(headers={"Authorization": nonsense}).get("/api/v1/person"), 401)


def test_one_cannot_end_anothers_token(people: dict[str, User]) -> None:
    client, csrf = signed_in_by_json("paul.berg")
    made = client.post("/api/v1/token", {"name": "list"}, content_type=JSON, headers={"X-CSRFToken": csrf})
    other, other_csrf = signed_in_by_json("rosa.keller")
    address = f"/api/v1/token/{made.json()['code']}/revoke"
    problem_of(other.post(address, {}, content_type=JSON, headers={"X-CSRFToken": other_csrf}), 404)
    assert Token.objects.count() == 1


BAD_BODIES = [
    (b'{"role": "pharmacist", "role": "auditor"}', 422, "body"),
    (b'{"role": NaN}', 422, "body"),
    (b'{"role": 1e999999}', 422, "body"),
    (b'{"role": "\xff\xfe"}', 422, "body"),
    (b"[" * 100_000, 422, "body"),
    (b'{"role": ' + b"9" * 400 + b"}", 422, "body"),
    (b'{"role": "owner"}', 422, "role"),
    (b'{"role": "pharmacist", "who": "me"}', 422, "who"),
    (b"{}", 422, "role"),
    (b"[]", 422, "body"),
    (b"not json", 422, "body"),
    (b"{" + b'"a":1,' * (MOST_BYTES // 6) + b'"b":2}', 413, "body"),
]


@pytest.mark.parametrize(("body", "status", "field"), BAD_BODIES, ids=range(len(BAD_BODIES)))
def test_a_bad_body_is_refused_by_name_and_recorded(
    people: dict[str, User], body: bytes, status: int, field: str
) -> None:
    client = as_person(people["paul.berg"])
    before = AuditEntry.objects.count()
    answer = client.post(f"/api/v1/person/{people['mira.voss'].code}/grant", body, content_type=JSON)
    refused = problem_of(answer, status)
    assert refused["refused"][0]["field"] == field
    assert people["mira.voss"].grants.count() == 1
    entry = AuditEntry.objects.order_by("seq").last()
    assert entry is not None
    assert AuditEntry.objects.count() == before + 1
    assert (entry.action, entry.outcome, entry.actor_id) == ("person.grant", "refused", people["paul.berg"].pk)


def test_what_is_no_json_is_refused_and_recorded(people: dict[str, User]) -> None:
    client = as_person(people["paul.berg"])
    address = f"/api/v1/person/{people['mira.voss'].code}/grant"
    problem_of(client.post(address, b"role=auditor", content_type="application/x-www-form-urlencoded"), 415)
    assert AuditEntry.objects.filter(action="person.grant", outcome="refused").count() == 1


class Stream:
    """A long body that is taken in by small pieces or not at all."""

    def __init__(self, length: int) -> None:
        self.left = length

    def read(self, size: int = -1) -> bytes:
        assert 0 < size <= 2**16, "the body was kept"
        piece = min(size, self.left)
        self.left -= piece
        return b"x" * piece

    def readline(self, *_: Any) -> bytes:
        raise AssertionError("the body was read by lines")


@pytest.mark.parametrize("address", ["/api/v1/person/PE-3333A/grant", "/sign-in", "/api/v1/session"])
def test_a_body_of_20_mb_is_dropped_and_refused(people: dict[str, User], address: str) -> None:
    for kind in (JSON, "multipart/form-data; boundary=x", "application/x-www-form-urlencoded"):
        client = as_person(people["paul.berg"])
        body = Stream(20 * 2**20)
        answer = client.generic(
            "POST", address, b"", content_type=kind, **{"wsgi.input": body, "CONTENT_LENGTH": str(20 * 2**20)}
        )
        assert answer.status_code == 413
        assert str(MOST_BYTES) in answer.content.decode()
        assert body.left == 0, "a client that has not sent everything yet would not see the answer"
    assert AuditEntry.objects.filter(outcome="refused").count() == 3


def test_a_body_without_end_is_not_taken_in(people: dict[str, User]) -> None:
    body = Stream(10**9)
    answer = as_person(people["paul.berg"]).generic(
        "POST", "/api/v1/token", b"", content_type=JSON, **{"wsgi.input": body, "CONTENT_LENGTH": str(10**9)}
    )
    problem_of(answer, 413)
    assert body.left > 9 * 10**8


@pytest.mark.parametrize("body", [b'{"name": NaN}', b'{"name": 1, "name": 2}', b"\xff", b"[" * 100_000])
def test_an_unreadable_body_in_a_session_with_csrf_is_recorded(people: dict[str, User], body: bytes) -> None:
    client = Client(enforce_csrf_checks=True)
    session = client.post("/api/v1/session", {"username": "paul.berg", "password": PASSWORD}, content_type=JSON)
    before = AuditEntry.objects.filter(outcome="refused").count()
    token = session.json()["csrf_token"]
    problem_of(client.post("/api/v1/token", body, content_type=JSON, HTTP_X_CSRFTOKEN=token), 422)
    problem_of(client.post("/api/v1/token", body, content_type=JSON), 403)
    form = client.post("/api/v1/token", b"name=x", content_type="application/x-www-form-urlencoded")
    problem_of(form, 403)
    assert AuditEntry.objects.filter(outcome="refused").count() == before + 1


def test_a_body_of_unsaid_length_is_refused(people: dict[str, User]) -> None:
    answer = as_person(people["paul.berg"]).generic(
        "POST", "/api/v1/token", b"", content_type=JSON, HTTP_TRANSFER_ENCODING="chunked"
    )
    problem_of(answer, 411)


def test_wrong_passwords_make_an_account_wait(people: dict[str, User]) -> None:
    def attempt(password: str) -> Any:
        body = {"username": "rosa.keller", "password": password}
        return Client().post("/api/v1/session", body, content_type=JSON)

    unknown = Client().post("/api/v1/session", {"username": "no.one", "password": "x"}, content_type=JSON)
    told = problem_of(unknown, 403)
    for _ in range(4):
        assert problem_of(attempt("wrong"), 403) == told
    assert attempt(PASSWORD).status_code == 201
    problem_of(attempt("wrong"), 403)
    assert problem_of(attempt(PASSWORD), 403) == told
    assert AuditEntry.objects.filter(action="session.sign_in", outcome="refused").count() == 5
    AuditEntry.objects.filter(action="session.sign_in")
    assert (
        Client().post("/api/v1/session", {"username": "paul.berg", "password": PASSWORD}, content_type=JSON).status_code
        == 201
    )


def test_lists_are_keyset_pages(clients: dict[str, Client]) -> None:
    client = clients["paul.berg"]
    seen, after = [], ""
    while True:
        page = client.get("/api/v1/person", {"limit": "4", "after": after}).json()
        seen += [one["username"] for one in page["items"]]
        after = page["next_after"]
        if not after:
            break
    assert seen == sorted(seen)
    assert len(seen) == 6
    for query in ({"limit": "0"}, {"limit": "201"}, {"limit": "many"}, {"colour": "red"}):
        assert problem_of(client.get("/api/v1/person", query), 422)["refused"][0]["field"] == next(iter(query))


def test_a_door_says_what_it_asks_and_who_could(clients: dict[str, Client], people: dict[str, User]) -> None:
    address = f"/api/v1/person/{people['mira.voss'].code}/grant"
    mine = clients["paul.berg"].get(address).json()
    assert (mine["may"], mine["signed"], mine["title"]) == (True, False, "Give a role")
    assert mine["fields"][0]["name"] == "role"
    assert ["pharmacist", "pharmacist"] in mine["fields"][0]["options"]
    others = clients["rosa.keller"].get(address).json()
    assert (others["may"], others["who"]) == (False, "a site manager")


def test_the_openapi_document_is_valid_and_names_every_door(db: None, tmp_path: Any) -> None:
    path = tmp_path / "schema.json"
    call_command("spectacular", "--validate", "--fail-on-warn", "--format", "openapi-json", "--file", str(path))
    document = json.loads(path.read_text())
    operations = {
        one["operationId"]: one
        for methods in document["paths"].values()
        for one in methods.values()
        if isinstance(one, dict) and "operationId" in one
    }
    for door in DOORS.values():
        operation = operations[operation_of(door)]
        assert operation["summary"] == str(door.title)
        assert "422" in operation["responses"]
        if door.Input().fields:
            name = operation["requestBody"]["content"][JSON]["schema"]["$ref"].rsplit("/", 1)[1]
            assert set(document["components"]["schemas"][name]["properties"]) == set(door.Input().fields)
    served = Client().get("/api/v1/schema")
    assert served.status_code == 200
    assert served.json()["paths"].keys() == document["paths"].keys()
