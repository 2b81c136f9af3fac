"""The races of `tests/races` on PostgreSQL, where two transactions really run beside each other."""

from __future__ import annotations

from pathlib import Path

from tests.races.judging import check_races, raced
from tests.races.test_races import with_steps
from tests.services.servers import Servers
from tests.services.stacks import postgres_stack


def test_one_wins_and_the_other_is_told_who_and_what(servers: Servers, tmp_path: Path) -> None:
    (tmp_path / "home").mkdir()
    told = raced(with_steps(postgres_stack(tmp_path / "home", servers), tmp_path / "steps"))
    assert told["vendor"] == "postgresql"
    check_races(told)
