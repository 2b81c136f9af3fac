"""A person or program at the site's HTTP doors, on the standard library alone; knows none of our modules.

Whatever is refused must come as problem details (RFC 9457) with the list of refusals, or the test ends here.
"""

from __future__ import annotations

import json
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Mapping
from dataclasses import dataclass, field
from email.message import Message
from http.cookiejar import CookieJar
from typing import Any

import pytest

API = "/api/v1/"
PROBLEM = "application/problem+json"
PARTS = {"field", "message", "value", "limit", "unit", "accepted", "rule"}
SECONDS = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What came back."""

    status: int
    headers: Message
    body: bytes

    @property
    def json(self) -> Any:
        """The body as JSON; nothing when it is empty."""
        return json.loads(self.body) if self.body else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Heard:
    """What a request leaves for others to hear: its address with where it was sent on to, and a problem's text."""

    address: str
    status: int
    told: str


HEARD: list[Heard] = []
"""Every request of this process, for those who listen."""


class Problem(Exception):
    """A request that was refused; holds the problem document."""

    def __init__(self, answer: Answer) -> None:
        self.answer = answer
        self.document = checked_problem(answer)
        super().__init__(f"{answer.status} {self.document['detail']} {self.document['refused']}")

    @property
    def status(self) -> int:
        """The HTTP status."""
        return self.answer.status

    @property
    def slug(self) -> str:
        """The kind of problem."""
        return str(self.document["type"]).rpartition(":")[2]

    @property
    def refused(self) -> list[dict[str, Any]]:
        """Every reason."""
        return list(self.document["refused"])

    @property
    def rules(self) -> set[str]:
        """The slugs of the reasons."""
        return {one["rule"] for one in self.refused}

    def on(self, name: str) -> dict[str, Any]:
        """Return the reason that names `name`, exactly or as the last part of its path."""
        for one in self.refused:
            if one["field"] == name or one["field"].endswith(f".{name}"):
                return one
        raise AssertionError(f"nothing is said about {name}: {self}")


def checked_problem(answer: Answer) -> dict[str, Any]:
    """Return the problem document of an answer after checking its shape."""
    assert 400 <= answer.status < 500, (answer.status, answer.body[:2000])
    assert answer.headers["Content-Type"] == PROBLEM, (answer.status, answer.headers["Content-Type"])
    document = answer.json
    assert set(document) == {"type", "title", "status", "detail", "refused"}, document
    assert document["type"].startswith("urn:dosewright:problem:")
    assert document["status"] == answer.status
    assert document["title"]
    assert document["detail"]
    for one in document["refused"]:
        assert set(one) == PARTS, one
        assert all(one[part] for part in ("field", "message", "rule")), one
    return dict(document)


@dataclass(slots=True, kw_only=True)
class Caller:
    """Somebody who sends requests; `headers` go along with each."""

    base_url: str
    headers: dict[str, str] = field(default_factory=dict)
    opener: urllib.request.OpenerDirector = field(default_factory=urllib.request.build_opener)

    def send(self, method: str, path: str, body: bytes | None = None, **headers: str) -> Answer:
        """Send one request and return the answer, whatever it is; header names take _ for -."""
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        request = urllib.request.Request(self.base_url + path, data=body, method=method, headers=self.headers | named)
        answer = self._answer(request)
        told = answer.body if answer.status >= 400 else b""
        address = f"{path} {answer.headers.get('Location', '')}"
        HEARD.append(Heard(address=address, status=answer.status, told=told.decode(errors="replace")))
        return answer

    def _answer(self, request: urllib.request.Request) -> Answer:
        try:
            with self.opener.open(request, timeout=SECONDS) as answer:
                return Answer(status=answer.status, headers=answer.headers, body=answer.read())
        except urllib.error.HTTPError as refused:
            with refused:
                return Answer(status=refused.code, headers=refused.headers, body=refused.read())

    def get_raw(self, path: str) -> Answer:
        """Return the answer to GET below the API's root; raises Problem."""
        return _good(self.send("GET", API + path))

    def get(self, path: str) -> Any:
        """Return what stands at `path`; raises Problem."""
        return self.get_raw(path).json

    def post(self, path: str, body: Any = None, **headers: str) -> Any:
        """Post JSON and return what is answered; raises Problem."""
        data = json.dumps({} if body is None else body).encode()
        return self.post_bytes(path, data, **headers).json

    def post_bytes(self, path: str, data: bytes, **headers: str) -> Answer:
        """Post bytes as they are, said to be JSON unless a header says else; raises Problem."""
        named = {"Content_Type": "application/json"} | headers
        return _good(self.send("POST", API + path, data, **named))

    def all_of(self, path: str, **filters: str) -> list[Any]:
        """Return every record of a list, page by page."""
        items: list[Any] = []
        after = ""
        while True:
            query = urllib.parse.urlencode({"limit": "50", "after": after, **filters})
            page = self.get(f"{path}?{query}")
            items += page["items"]
            after = page["next_after"]
            if not after:
                return items


@dataclass(slots=True, kw_only=True)
class Person(Caller):
    """Somebody signed in by user name and password."""

    username: str
    password: str

    def shown(self, path: str) -> dict[str, Any]:
        """Return what the action at `path` asks and shows."""
        return dict(self.get(path))

    def sign(self, path: str, body: Mapping[str, Any] | None = None, **headers: str) -> Any:
        """Take a signed action: look at what is shown, then send its digest and the password."""
        seen = self.shown(path)
        assert seen["signed"], path
        pen = {"shown_digest": seen["shown_digest"] or "0" * 64, "password": self.password}
        return self.post(path, {**pen, **(body or {})}, **headers)


@dataclass(slots=True, kw_only=True)
class Program(Caller):
    """A program or printer with a token."""


def sign_in(base_url: str, username: str, password: str) -> Person:
    """Return a person with a session of their own; raises Problem."""
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
    person = Person(base_url=base_url, username=username, password=password, opener=opener)
    session = person.post("session", {"username": username, "password": password})
    assert session["username"] == username
    person.headers["X-CSRFToken"] = session["csrf_token"]
    return person


def by_token(base_url: str, token: str) -> Program:
    """Return a program that acts by a token."""
    return Program(base_url=base_url, headers={"Authorization": f"Bearer {token}"})


def refusal(
    person: Caller, path: str, body: Any = None, *, status: int, signed: bool = False, **headers: str
) -> Problem:
    """Post what must be refused with `status` and return the problem."""
    act = person.sign if signed and isinstance(person, Person) else person.post
    with pytest.raises(Problem) as caught:
        act(path, body, **headers)
    assert caught.value.status == status, (path, str(caught.value))
    return caught.value


def _good(answer: Answer) -> Answer:
    if answer.status >= 400:
        raise Problem(answer)
    return answer
