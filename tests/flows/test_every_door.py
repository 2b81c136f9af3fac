"""Every door for orders on SQLite with the embedded worker; `tests/services` goes through them on the other stack."""

from __future__ import annotations

from tests.flows.compounding import Bench
from tests.flows.every_door import refuse_at_every_door, walk_every_door
from tests.flows.living import Home


def test_the_same_order_comes_in_by_every_door_once_and_is_verified(home: Home, bench: Bench) -> None:
    walk_every_door(home)


def test_a_bad_dose_is_refused_at_every_door(home: Home) -> None:
    refuse_at_every_door(home)
