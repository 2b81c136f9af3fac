"""Two workers against one: the same plans and plate files, by one worker process and by two, in turns.

Every plan is of a site of its own, so that none waits for what another one reserves; as in a group of hospitals.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from dosewright.roof.children import Child, manage
from tests.flows.tables import Tables
from tests.services.stacks import Stack

WITHIN_S = 600


@dataclass(frozen=True, slots=True, kw_only=True)
class Timed:
    """How long the pieces of one kind took by one worker and by two [s]."""

    kind: str
    pieces: int
    one_s: float
    two_s: float

    @property
    def ratio(self) -> float:
        """How many times as fast two are."""
        return self.one_s / self.two_s


def timed(stack: Stack, folder: Path, ask: Any, groups: list[list[str]]) -> list[Timed]:
    """Return the times for plans and for plate files; `groups` of sites are worked by one, two, two, one worker."""
    spent = {"plan": {1: 0.0, 2: 0.0}, "deliver": {1: 0.0, 2: 0.0}}
    for number, (group, workers) in enumerate(zip(groups, (1, 2, 2, 1), strict=True)):
        with _at_work(stack, folder / f"group-{number}", workers):
            for kind in ("plan", "deliver"):
                ask(kind, group)
                begun = time.perf_counter()
                _until_done(stack, kind)
                spent[kind][workers] += time.perf_counter() - begun
    pieces = 2 * len(groups[0])
    return [Timed(kind=kind, pieces=pieces, one_s=one[1], two_s=one[2]) for kind, one in spent.items()]


@contextmanager
def _at_work(stack: Stack, folder: Path, workers: int) -> Iterator[None]:
    """Run so many workers, each loaded and idle before anything is asked of it."""
    folder.mkdir(parents=True)
    started = [
        Child(f"work-{number}", manage("work"), env=stack.env, log=folder / f"{number}.log")
        for number in range(workers)
    ]
    try:
        time.sleep(LOADED_S)
        assert all(one.process.poll() is None for one in started), "a worker ended"
        yield
    finally:
        for one in started:
            one.stop()


LOADED_S = 8
"""Within this a worker has loaded the house, also on a busy machine."""


def _until_done(stack: Stack, kind: str) -> None:
    tables = Tables(stack)
    end = time.monotonic() + WITHIN_S
    while tables.one(f"SELECT count(*) FROM ground_work WHERE kind = '{kind}' AND state IN ('waiting', 'leased')"):
        assert time.monotonic() < end, "the work was not done"
        time.sleep(0.05)
    failed = tables.all(f"SELECT failure FROM ground_work WHERE kind = '{kind}' AND state <> 'done'")
    assert not failed, failed[:3]


def found_sites(count: int, orders: int) -> list[str]:
    """Set up `count` sites with a lot, a printer and verified orders each; return the suffixes of their people."""
    from tests.batches import bench, checked_order
    from tests.cast import demo_substance, found_cast
    from tests.orders import another_child

    suffixes = [f"-{number}" for number in range(count)]
    for suffix in suffixes:
        cast = found_cast(name=f"Invented pharmacy {suffix[1:]}", suffix=suffix)
        demo_substance(cast)
        bench(cast)
        for child in range(orders):
            checked_order(cast, patient=another_child(child))
    return suffixes


def ask_for(kind: str, suffixes: list[str]) -> None:
    """Ask for a plan at each site, or approve every batch that was planned there."""
    from dosewright.ground.models import User
    from dosewright.ground.people import actor_of
    from dosewright.ground.pure.roles import Channel
    from printing.plates import services
    from printing.plates.models import PrintBatch
    from tests.cast import NOW

    for suffix in suffixes:
        tomas = actor_of(User.objects.get(username=f"tomas.lind{suffix}"), channel=Channel.SESSION)
        if kind == "plan":
            services.request_plan(tomas, at=NOW)
            continue
        for code in PrintBatch.objects.filter(site_id=tomas.site_id, state="planned").values_list("code", flat=True):
            services.approve_batch(tomas, code, at=NOW)


def offset_of_the_cast() -> Any:
    """Return how far the cast's time lies from the clock."""
    from tests.cast import NOW

    return NOW - datetime.now(UTC)
