"""One living home on SQLite for the whole folder; each flow has orders, lots and plates of its own in it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.flows.compounding import Bench, ready_bench
from tests.flows.living import Home, living
from tests.flows.ordering import set_up_substance
from tests.services.stacks import sqlite_stack


@pytest.fixture(scope="session")
def home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Home]:
    """A home with the cast, a web server and the embedded worker."""
    folder = tmp_path_factory.mktemp("flows")
    (folder / "home").mkdir()
    with living(sqlite_stack(folder / "home"), folder / "logs") as alive:
        set_up_substance(alive)
        yield alive


@pytest.fixture(scope="session")
def bench(home: Home) -> Bench:
    """A validated formulation, an approved lot of it, a calibrated printer and a filled tank."""
    return ready_bench(home)
