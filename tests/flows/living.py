"""A home that lives: its web server and worker as processes of their own, its clock, its people at the door."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, TypeVar

from dosewright.roof.children import Child, manage, wait_for, web
from dosewright.roof.clock import MARK, set_demo_offset
from tests.cast import PASSWORD
from tests.flows.client import Person, sign_in
from tests.flows.tables import Tables
from tests.services.servers import free_port
from tests.services.stacks import Stack

BEGINS = timedelta(days=-4)
"""The flow begins in the past, so that its washes, dryings and cures end before the real time."""

POLL_S = 0.2

Found = TypeVar("Found")


@dataclass(slots=True, kw_only=True)
class Home:
    """One living home."""

    stack: Stack
    base_url: str
    logs: Path
    site: str
    tables: Tables
    offset: timedelta = BEGINS
    people: dict[str, Person] = field(default_factory=dict)

    @property
    def path(self) -> Path:
        """The home's folder."""
        return Path(self.stack.env["DOSEWRIGHT_HOME"])

    def now(self) -> datetime:
        """Return the time in this home."""
        return datetime.now(UTC) + self.offset

    def skip(self, seconds: float) -> None:
        """Let time pass that nobody wants to wait for, once no worker holds a lease that would run out."""
        self.until("no work is under way", lambda: not self.open_work())
        self.offset += timedelta(seconds=seconds)
        set_demo_offset(self.path, self.offset)

    def open_work(self) -> int:
        """Return how many pieces of work are waiting to be done now, or under way."""
        later = "state = 'waiting' AND kind = 'seal reads'"
        open_now = f"state IN ('waiting', 'leased') AND NOT ({later})"
        return int(self.tables.one(f"SELECT count(*) FROM ground_work WHERE {open_now}"))

    def until(self, what: str, found: Callable[[], Found | None], *, within_s: float = 60) -> Found:
        """Wait until `found` answers with something, and return it."""
        end = time.monotonic() + within_s
        while not (answer := found()):
            assert time.monotonic() < end, f"{what}: did not happen within {within_s:g} s\n{self.failures()}"
            time.sleep(POLL_S)
        return answer

    def failures(self) -> list[tuple[Any, ...]]:
        """Return the work that is not done and what it says."""
        return self.tables.all("SELECT kind, state, attempts, progress, failure FROM ground_work WHERE state <> 'done'")

    def person(self, username: str) -> Person:
        """Return a person of the cast, signed in once."""
        if username not in self.people:
            self.people[username] = sign_in(self.base_url, username, PASSWORD)
        return self.people[username]

    def __getattr__(self, given_name: str) -> Person:
        """Return a person by the given name: ``home.mira``."""
        if given_name not in CAST:
            raise AttributeError(given_name)
        return self.person(CAST[given_name])


CAST = {
    "mira": "mira.voss",
    "tomas": "tomas.lind",
    "ada": "ada.brandt",
    "rosa": "rosa.keller",
    "jonas": "jonas.weber",
    "lena": "lena.fuchs",
    "otto": "otto.krug",
    "nora": "nora.stein",
    "paul": "paul.berg",
}

EMBEDDED = (("work", manage("work")),)
"""The worker of a home without a broker."""


def celery_programs(folder: Path) -> tuple[tuple[str, list[str]], ...]:
    """Return worker and beat as the compose file starts them."""
    base = [sys.executable, "-m", "celery", "--app", "dosewright.roof.celery:app"]
    return (
        ("worker", [*base, "worker", "--concurrency", "2", "--hostname", "flow@%h", "--loglevel", "WARNING"]),
        ("beat", [*base, "beat", "--schedule", str(folder / "beat"), "--pidfile", str(folder / "beat.pid")]),
    )


@contextmanager
def living(
    stack: Stack,
    folder: Path,
    workers: tuple[tuple[str, list[str]], ...] = EMBEDDED,
    *,
    gs1_prefix: str = "",
    application: str = "",
) -> Iterator[Home]:
    """Found the cast's site in a migrated home, start its programs, and end them for certain."""
    home = Path(stack.env["DOSEWRIGHT_HOME"])
    (home / MARK).write_text("a home of the tests; everything in it is invented\n", encoding="utf-8")
    set_demo_offset(home, BEGINS)
    site = stack.python("-m", "tests.flows.founding", *filter(None, [gs1_prefix]))
    folder.mkdir(parents=True, exist_ok=True)
    port = free_port()
    server = [application if application and one.endswith(":application") else one for one in web(port)]
    env = stack.env | {"DOSEWRIGHT_LOG": "INFO", "DOSEWRIGHT_HOSTS": "127.0.0.1"}
    with ExitStack() as ends:
        for name, command in (("web", server), *workers):
            child = Child(name, command, env=env, log=folder / f"{name}.log")
            ends.callback(child.stop)
            if name == "web":
                assert wait_for(f"http://127.0.0.1:{port}/health/alive", child), _log(folder / "web.log")
        yield Home(stack=stack, base_url=f"http://127.0.0.1:{port}", logs=folder, site=site, tables=Tables(stack))


def _log(path: Path) -> str:
    return path.read_text(encoding="utf-8", errors="replace")[-4000:]
