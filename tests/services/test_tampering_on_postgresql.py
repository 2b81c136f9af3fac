"""The attacks of `tests/tampering` on PostgreSQL, by the role that owns the tables; that suite runs them on SQLite."""

from __future__ import annotations

import json
from pathlib import Path

from tests.services.servers import Servers
from tests.services.stacks import postgres_stack
from tests.tampering.attacks import ATTACKS


def test_every_attack_by_the_owner_is_found_and_located(servers: Servers, tmp_path: Path) -> None:
    (tmp_path / "home").mkdir()
    stack = postgres_stack(tmp_path / "home", servers)
    told = json.loads(stack.python("-m", "tests.tampering.attacks", str(tmp_path), owner=True))
    assert told["vendor"] == "postgresql"
    untouched, *found = told["found"]
    assert (untouched["here"], untouched["offline"]) == ([], [])
    assert len(found) == len(ATTACKS) + 2
    for one in found:
        assert one["told"], one
        assert one["offline"] == one["here"], one
