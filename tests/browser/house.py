"""A seeded home with its web server and worker as processes of their own, for a browser to walk through."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from dosewright.ground.pure.codes import parse
from dosewright.roof.children import Child, manage, wait_for, web
from dosewright.roof.clock import MARK, set_demo_offset
from tests.services.servers import free_port
from tests.services.stacks import Stack, sqlite_stack

ORDERS = "12"
SEED = "3"
BEGINS = timedelta(days=-2)
"""The house begins in the past, so that its washes, dryings and cures end before the real time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class House:
    """One living home: its address, the passwords of its people, and codes of what was made for the tests."""

    stack: Stack
    base_url: str
    passwords: dict[str, str]
    made: dict[str, str]

    def address(self, what: str) -> str:
        """Return the address of a record that was made for the tests."""
        kind, code = parse(self.made[what])
        return f"/{kind.name.removeprefix('print ').replace(' ', '-')}/{code}"


@contextmanager
def living_house(folder: Path) -> Iterator[House]:
    """Seed a home below `folder`, start its programs, let records come further, and end all for certain."""
    home = folder / "home"
    home.mkdir(parents=True)
    stack = sqlite_stack(home)
    (home / MARK).write_text("a home of the tests; everything in it is invented\n", encoding="utf-8")
    set_demo_offset(home, BEGINS)
    stack.python("manage.py", "seed", "--orders", ORDERS, "--seed", SEED)
    with ExitStack() as ends:
        base_url = _start(stack, folder, ends)
        made = json.loads(stack.python("-m", "tests.browser.further", base_url).splitlines()[-1])
        yield House(
            stack=stack,
            base_url=base_url,
            passwords=json.loads((home / "keys" / "invented_logins.json").read_text(encoding="utf-8")),
            made=made,
        )


def _start(stack: Stack, folder: Path, ends: ExitStack) -> str:
    port = free_port()
    env = stack.env | {"DOSEWRIGHT_HOSTS": "127.0.0.1", "DOSEWRIGHT_LOG": "ERROR"}
    for name, command in (("web", web(port)), ("work", manage("work"))):
        child = Child(name, command, env=env, log=folder / f"{name}.log")
        ends.callback(child.stop)
        if name == "web":
            base_url = f"http://127.0.0.1:{port}"
            log = folder / "web.log"
            assert wait_for(f"{base_url}/health/alive", child), log.read_text(encoding="utf-8", errors="replace")
    return base_url
