"""The two stacks on which the house runs, each as a home of its own with its own environment.

A stack is SQLite with the embedded worker, or PostgreSQL with Redis and Celery. Programs are started as real
processes with the stack's environment, so that what they do is seen from outside.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from tests.services.servers import Servers

ROOT = Path(__file__).parents[2]
MIGRATE_S = 600
"""Many tables, on a machine that many share."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stack:
    """One migrated home: its name, the environment of its programs, and the owner's environment."""

    name: str
    env: dict[str, str]
    owner_env: dict[str, str]

    def python(self, *arguments: str, owner: bool = False, timeout: float = 120) -> str:
        """Run Python with the stack's environment and return what it prints; a failure shows both outputs."""
        done = subprocess.run(
            [sys.executable, *arguments],
            cwd=ROOT,
            env=self.owner_env if owner else self.env,
            capture_output=True,
            text=True,
            timeout=timeout,
            check=False,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    @contextmanager
    def running(self, *arguments: str) -> Iterator[subprocess.Popen[bytes]]:
        """Run Python in the background and end it for certain."""
        process = subprocess.Popen(
            [sys.executable, *arguments], cwd=ROOT, env=self.env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        try:
            yield process
        finally:
            process.kill()
            process.wait()


def sqlite_stack(home: Path) -> Stack:
    """Make a migrated home on SQLite."""
    env = environment_of(home)
    stack = Stack(name="sqlite", env=env, owner_env=env)
    stack.python("manage.py", "migrate", "-v", "0", timeout=MIGRATE_S)
    return stack


def postgres_stack(home: Path, servers: Servers) -> Stack:
    """Make a migrated home on PostgreSQL with Redis; the programs work as the role that owns no table."""
    env = environment_of(home) | servers.environment
    stack = Stack(name="postgresql", env=env, owner_env=env | servers.owner_environment)
    stack.python("manage.py", "migrate", "-v", "0", owner=True, timeout=MIGRATE_S)
    return stack


def wait_until(done: Callable[[], bool], *, within_s: float = 30) -> None:
    """Wait until `done`; fail when it takes longer."""
    end = time.monotonic() + within_s
    while not done():
        assert time.monotonic() < end, f"did not happen within {within_s} s"
        time.sleep(0.1)


def environment_of(home: Path) -> dict[str, str]:
    """Return the environment of programs on a home; nothing of the caller's own home goes in."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith("DOSEWRIGHT_")}
    return kept | {
        "DOSEWRIGHT_HOME": str(home),
        "DOSEWRIGHT_TESTING": "yes",
        "DOSEWRIGHT_BOOTSTRAP": "off",
        "DJANGO_SETTINGS_MODULE": "dosewright.roof.settings",
        "PYTHONPATH": str(ROOT),
    }
