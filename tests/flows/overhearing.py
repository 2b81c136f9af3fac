"""Listens while a flow is walked: every command that Redis gets, every address that is asked for, every problem told.

A name in any of these is a name where none belongs; `check_no_names` looks through them.
"""

from __future__ import annotations

import base64
import json
import re
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from html.parser import HTMLParser
from urllib.parse import urlsplit

from tests.flows.client import HEARD, Caller, Heard
from tests.flows.living import Home
from tests.flows.ordering import FAMILY_NAME, GIVEN_NAME, NUMBER

NAMES = (FAMILY_NAME.lower(), GIVEN_NAME.lower(), NUMBER.lower())
ADDRESSES = frozenset({"href", "src", "action", "formaction"})
PACKED = re.compile(r"[A-Za-z0-9+/=]{16,}")
PEEP = "dosewright-test-peep"


@dataclass(slots=True, kw_only=True)
class Overheard:
    """What was heard: commands to Redis (none without a broker), and requests with what was told of them."""

    redis: list[str] = field(default_factory=list)
    http: list[Heard] = field(default_factory=list)


@contextmanager
def overhearing(home: Home) -> Iterator[Overheard]:
    """Listen to the home's Redis and to all requests of the block."""
    heard = Overheard(http=HEARD)
    HEARD.clear()
    url = home.stack.env.get("DOSEWRIGHT_REDIS_URL")
    if url is None:
        yield heard
        return
    import redis

    client = redis.Redis.from_url(url)
    place = urlsplit(url)
    with socket.create_connection((place.hostname or "", place.port or 0)) as line:
        line.sendall(b"MONITOR\r\n")
        thread = threading.Thread(target=_listen, args=(line, heard.redis), daemon=True)
        thread.start()
        try:
            client.set(PEEP, FAMILY_NAME)
            client.set(PEEP, base64.b64encode(json.dumps([FAMILY_NAME, {}]).encode()))
            client.delete(PEEP)
            yield heard
        finally:
            client.echo(f"{PEEP} is over")
            thread.join(30)


def _listen(line: socket.socket, kept: list[str]) -> None:
    with line.makefile("rb") as lines:
        for command in lines:
            text = command.decode(errors="replace")
            kept.append(" ".join([text, *map(_decoded, PACKED.findall(text))]))
            if f"{PEEP} is over" in text:
                return


def _decoded(text: str) -> str:
    """Return what stands in base64, as the bodies of messages do; nothing for what is none."""
    try:
        return base64.b64decode(text, validate=True).decode(errors="replace")
    except ValueError:
        return ""


def named(text: str | bytes) -> list[str]:
    """Return the names of the invented child that stand in a text."""
    low = text.lower() if isinstance(text, bytes) else text.lower().encode()
    return [name for name in NAMES if name.encode() in low]


def check_overheard(heard: Overheard, *, broker: bool) -> None:
    """Redis got no name, no address holds one, no problem tells one; the planted one was heard."""
    if broker:
        planted = [one for one in heard.redis if PEEP in one and named(one)]
        assert len(planted) == 2, "the search would not find a name, plain or packed"
        others = [one for one in heard.redis if PEEP not in one]
        assert any("dosewright.sweep" in one for one in others), "no message of ours was heard"
        assert [one for one in others if named(one)] == []
    assert len(heard.http) > 100, "requests were heard"
    assert [one.address for one in heard.http if named(one.address)] == []
    problems = [one for one in heard.http if one.status >= 400]
    assert len(problems) > 20, "problems were heard"
    assert [(one.address, one.told) for one in problems if named(one.told)] == []


class _Addresses(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found += [value for name, value in attrs if name in ADDRESSES and value]


def addresses_in(page: str) -> list[str]:
    """Return every address that a page leads to."""
    parser = _Addresses()
    parser.feed(page)
    return parser.found


def check_pages(reader: Caller, paths: list[str]) -> None:
    """Pages that name the child lead to no address that does."""
    leads, names = 0, 0
    for path in paths:
        answer = reader.send("GET", path, Accept="text/html")
        assert answer.status == 200, (path, answer.status)
        page = answer.body.decode()
        names += bool(named(page))
        found = addresses_in(page)
        leads += len(found)
        assert [one for one in found if named(one)] == [], path
    assert names, "no page named the child: the check means nothing"
    assert leads > len(paths)
