"""Every family of faults, with the function that runs it on a home."""

from __future__ import annotations

import fnmatch
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from tests.faults.clocks import BACK, set_back
from tests.faults.disks import FULL, fill_disks
from tests.faults.killing_workers import KILL_PROGRAM, KILL_WORKER, kill_workers
from tests.faults.making_work import Ward
from tests.faults.rows import Ledger, Wanted
from tests.faults.servers_down import FLUSH, KILL_BEAT, RESTART, RESTART_DB, STOP, take_servers_away
from tests.faults.sharing import LEASE, ORDER, SCHEDULERS, TWICE, share
from tests.faults.striking import KILL_WEB
from tests.faults.trial import DATABASES, POSTGRESQL, Trial
from tests.faults.walking import walk_struck

Run = Callable[[Trial, Any, Ledger, Wanted], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """Faults that share a home: their names, the function that runs them, and the few that a quick run takes.

    ``apart`` gives a family a home of its own: one lot of resin lasts for some forty plans.
    """

    name: str
    faults: tuple[str, ...]
    run: Run
    quick: tuple[str, ...] = ()
    databases: tuple[str, ...] = DATABASES
    needs_empty_site: bool = False
    apart: bool = False

    def has(self, fault: str, database: str) -> bool:
        """Tell whether a fault that may be wanted is one of these."""
        return database in self.databases and any(fnmatch.fnmatch(one, fault) for one in self.faults)

    def narrowed(self, wanted: Wanted, *, quick: bool) -> Wanted:
        """Return what a quick run takes of what is wanted."""
        return lambda fault, step: wanted(fault, step) and (not quick or step in self.quick)


def _walk(trial: Trial, ward: Ward | None, ledger: Ledger, wanted: Wanted) -> None:
    walk_struck(trial, ledger, wanted)


FAMILIES = (
    Family(
        name="workers",
        faults=(KILL_WORKER, KILL_PROGRAM),
        run=kill_workers,
        quick=("plan:action-recorded", "deliver:file-whole"),
    ),
    Family(
        name="sharing",
        faults=(TWICE, ORDER, SCHEDULERS, LEASE),
        run=share,
        quick=("plan:work-under-way", "ten-pieces-at-once"),
    ),
    Family(name="clocks", faults=(BACK,), run=set_back, quick=("screen-patient:waiting",)),
    Family(name="disks", faults=(FULL,), run=fill_disks, quick=("document.make:pdf",)),
    Family(
        name="servers",
        faults=(FLUSH, STOP, RESTART, RESTART_DB, KILL_BEAT),
        run=take_servers_away,
        quick=("order.sign:action-committed", "plan:action-recorded"),
        databases=(POSTGRESQL,),
        apart=True,
    ),
    Family(
        name="walk",
        faults=(KILL_WEB,),
        run=_walk,
        quick=("order.enter:action-recorded", "order.enter:action-committed", "pack.release:file-whole"),
        needs_empty_site=True,
    ),
)
