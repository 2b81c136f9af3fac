"""Two people at one thing, on SQLite: one wins, the other is told who did what; `tests/services` has PostgreSQL."""

from __future__ import annotations

import copy
from pathlib import Path

import pytest

from tests.races.judging import check_races, raced
from tests.services.stacks import Stack, sqlite_stack

pytestmark = pytest.mark.slow


def with_steps(stack: Stack, folder: Path) -> Stack:
    """Let the program hold a worker at a step."""
    folder.mkdir()
    stack.env["DOSEWRIGHT_STEPS"] = str(folder)
    return stack


def test_one_wins_and_the_other_is_told_who_and_what(tmp_path: Path) -> None:
    told = raced(with_steps(sqlite_stack(tmp_path / "home"), tmp_path / "steps"))
    assert told["vendor"] == "sqlite"
    check_races(told)
    for spoil in ({"done": True}, {"told": "changed meanwhile"}):
        other = copy.deepcopy(told)
        next(one for one in other["races"][0]["outcomes"] if not one["done"]).update(spoil)
        with pytest.raises(AssertionError):
            check_races(other)
