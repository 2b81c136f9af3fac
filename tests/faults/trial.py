"""A living home under trial: its programs, its servers, its people, and what each fault did to it."""

from __future__ import annotations

import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any

from dosewright.roof.children import manage, web
from dosewright.roof.clock import MARK, set_demo_offset
from tests.faults.mounts import small_disks, take_down
from tests.faults.programs import Program
from tests.faults.servers import Backing, backing
from tests.flows.living import BEGINS, Home, celery_programs
from tests.flows.tables import Tables
from tests.services.servers import free_port
from tests.services.stacks import Stack, postgres_stack, sqlite_stack

SQLITE, POSTGRESQL = "sqlite", "postgresql"
DATABASES = (SQLITE, POSTGRESQL)
LEASE_S = 121
"""One second more than a lease lasts."""


@dataclass(slots=True, kw_only=True)
class WatchedHome(Home):
    """A home whose programs are begun again when they end, as `serve` and the compose file do."""

    programs: dict[str, Program]

    def until(self, what: str, found: Callable[[], Any], *, within_s: float = 60) -> Any:
        """Wait three times as long as asked: many processes share the machine, each begun again and again."""

        def watched() -> Any:
            for program in self.programs.values():
                program.watch()
            return found()

        return Home.until(self, what, watched, within_s=3 * within_s)


@dataclass(slots=True, kw_only=True)
class Trial:
    """One home with everything that can be taken from it."""

    database: str
    home: Home
    programs: dict[str, Program]
    folder: Path
    backing: Backing | None = field(default=None)
    disks: dict[str, Path] = field(default_factory=dict)

    @property
    def web(self) -> Program:
        """The web server."""
        return self.programs["web"]

    @property
    def worker(self) -> Program:
        """The worker: `work`, or Celery's."""
        return self.programs["worker"]

    def wait_web(self, *, within_s: float = 300) -> None:
        """Wait until the web server answers again."""
        end = time.monotonic() + within_s
        while not self.web_answers():
            assert time.monotonic() < end, f"the web server did not come back: {self.web.said()}"
            time.sleep(0.1)

    def web_answers(self) -> bool:
        """Tell whether the web server answers now."""
        try:
            with urllib.request.urlopen(f"{self.home.base_url}/health/alive", timeout=5) as answer:
                return bool(answer.status == 200)
        except (urllib.error.URLError, OSError):
            return False

    def move_clock(self, seconds: float) -> None:
        """Set the home's clock forward or back, whatever is under way."""
        self.home.offset += timedelta(seconds=seconds)
        set_demo_offset(self.home.path, self.home.offset)

    def recover(self) -> None:
        """Bring the worker back for the next row, whatever the last one led to."""
        self.worker.release()
        self.worker.disarm()
        if not self.worker.is_alive:
            self.worker.begin()
        if self.home.tables.one("SELECT count(*) FROM ground_work WHERE state = 'leased'"):
            self.move_clock(LEASE_S)

    def quiet(self, *, within_s: float = 90) -> None:
        """Wait until no work waits that is due, and none is under way."""
        self.home.until("all work is done", lambda: self.home.open_work() == 0, within_s=within_s)


@contextmanager
def trial(database: str, folder: Path) -> Iterator[Trial]:
    """Found the cast's site on one database, start its programs, and end everything for certain."""
    (folder / "home").mkdir(parents=True)
    with ExitStack() as ends:
        disks = small_disks(folder / "home")
        ends.callback(take_down, disks)
        servers = ends.enter_context(backing()) if database == POSTGRESQL else None
        stack = postgres_stack(folder / "home", servers.servers) if servers else sqlite_stack(folder / "home")
        (folder / "home" / MARK).write_text("a home of the tests; everything in it is invented\n", encoding="utf-8")
        set_demo_offset(folder / "home", BEGINS)
        site = stack.python("-m", "tests.flows.founding")
        port = free_port()
        programs = _programs(stack, folder, port)
        for one in programs.values():
            ends.callback(one.kill)
            one.begin()
        home = WatchedHome(
            programs=programs,
            stack=stack,
            base_url=f"http://127.0.0.1:{port}",
            logs=folder,
            site=site,
            tables=Tables(stack),
        )
        found = Trial(database=database, home=home, programs=programs, folder=folder, backing=servers, disks=disks)
        found.wait_web()
        yield found


def _programs(stack: Stack, folder: Path, port: int) -> dict[str, Program]:
    env = {name: value for name, value in stack.env.items() if name != "DOSEWRIGHT_DATABASE_OWNER_URL"}
    env |= {"DOSEWRIGHT_LOG": "INFO", "DOSEWRIGHT_HOSTS": "127.0.0.1"}
    workers = dict(celery_programs(folder)) if stack.name == POSTGRESQL else {"worker": manage("work")}
    # The master holds the loaded house, so that a killed web process is replaced in a moment.
    commands = {"web": [*web(port), "--preload"], **workers}
    return {name: Program(name=name, command=line, env=env, folder=folder) for name, line in commands.items()}
