"""Homes that the contracts are tested on."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from dosewright.roof.clock import MARK
from tests.contracts.running import Answer, Teller, manage
from tests.services.stacks import Stack, environment_of, sqlite_stack


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """A home with a formulation, an approved resin lot, a printer with its tank filled, and verified orders."""

    stack: Stack
    formulation: str
    resin_lot: str
    printer: str
    orders: list[str]
    teller: Teller

    def process(self, *arguments: str) -> Answer:
        """Run a command on this home as a process of its own."""
        return manage(self.stack, *arguments)

    def manage(self, *arguments: str) -> Answer:
        """Run a command on this home, in the process that runs them all."""
        return self.teller.manage(*arguments)

    def size(self, dose: str, *more: str) -> Answer:
        """Run `size` for a dose of the formulation."""
        return self.manage("size", "--formulation", self.formulation, f"--dose={dose}", *more, "--json")


@pytest.fixture(scope="session")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """A home as far as a plan needs, made once."""
    home = tmp_path_factory.mktemp("contracts") / "home"
    stack = sqlite_stack(home)
    (home / MARK).write_text("a home of the tests; everything in it is invented\n", encoding="utf-8")
    with stack.running("manage.py", "work"):
        codes: dict[str, Any] = json.loads(stack.python("-m", "tests.contracts.founding", timeout=600))
    teller = Teller(stack)
    yield Bench(
        stack=stack,
        teller=teller,
        formulation=codes["formulation"],
        resin_lot=codes["resin_lot"],
        printer=codes["printer"],
        orders=codes["orders"],
    )
    teller.end()


@pytest.fixture
def bare(tmp_path: Path) -> Stack:
    """A home that nothing was done to: no database, not even a folder."""
    home = tmp_path / "home"
    env = environment_of(home)
    return Stack(name="bare", env=env, owner_env=env)
