"""Writes docs/reliability.md from the rows of the last runs."""

from __future__ import annotations

import os
import platform
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

from tests.faults.rows import Row
from tests.programs import find_program

ROOT = Path(__file__).parents[2]
KEPT = ROOT / "docs" / "reliability.json"
REPORT = ROOT / "docs" / "reliability.md"
COST = ROOT / "docs" / "cost-of-the-record.md"

HEAD = """# Reliability: what faults led to

Written by `python -m tests.faults` from its last runs; do not edit. Every program is a real process, every server a
real server, every fault really happens: processes are killed with signal 9 at a named step
(`dosewright/ground/steps.py`), servers are stopped, disks are full. Nothing is mocked. What is counted is counted from
outside the programs: by SQL on the tables, by hash on the files, by HTTP at the doors.

After **each** row these must find nothing: a dose line in two plans or reserved for none, a plan or plate file twice,
a unit in two packs, a pack released or supplied twice, the same signed twice, a fact that was not handed on, stock
that is not the sum of its movements, a balance below zero, work that failed by a fault, a break in the audit chain
(recomputed outside), a file that a row tells of and that is gone or differs, a document's file that no row tells of.

A row is repeated by `python -m tests.faults --only 'FAULT/STEP/DATABASE'`, all by `python -m tests.faults`. **held**:
nothing lost, nothing twice, nothing half-written. **BROKEN**: as told. **not run**: why. SQLite
has no broker, no beat and no database server to take away.
"""

DATABASES = ("sqlite", "postgresql")
SERVERS = frozenset({"flush-redis", "stop-redis", "restart-redis", "restart-postgresql", "kill-beat", "harness"})
WALK_STEPS = ("action-begun", "action-done", "action-recorded", "action-committed")

ABOUT = {
    "kill-web": "The web server's process is killed at the step; the person repeats or looks at the record first.",
    "kill-worker": "The process that runs the work is killed at the step; the lease runs out (the home's clock is set"
    " ahead by it) and another process finds the row.",
    "kill-worker-program": "The whole worker program with all its processes is killed at the step and started again.",
    "kill-beat": "Celery's beat is killed when the wake-up was lost, and started again.",
    "flush-redis": "The broker is emptied at the step.",
    "stop-redis": "The broker is off while people act and workers work, and comes back.",
    "restart-redis": "The broker is killed and started again at the step; it keeps nothing.",
    "restart-postgresql": "The database server ends every session at once (SIGQUIT) at the step and recovers.",
    "delivered-twice": "The same wake-ups are delivered many times, to several workers at once.",
    "out-of-order": "An older piece of work ends after a newer one of the same record.",
    "two-schedulers": "Two beats with two workers, or two `work` processes, on one home.",
    "lease-lost": "A worker is held over the end of its lease; another does the work; the first goes on.",
    "clock-back": "The clock is set back by an hour.",
    "disk-full": "The disk (a tmpfs of a few blocks) is full while a file or the database is written.",
}


def write_report(rows: Iterable[Row]) -> None:
    """Write the report of all rows."""
    rows = sorted(rows, key=lambda row: row.key)
    REPORT.parent.mkdir(exist_ok=True)
    parts = [HEAD, f"Machine: {machine()}.\n", _summary(rows), _not_run_yet(rows)]
    for fault in dict.fromkeys(row.fault for row in rows):
        parts.append(_table(fault, [row for row in rows if row.fault == fault]))
    if COST.exists():
        parts.append("## Cost of the record\n\nSee [cost-of-the-record.md](cost-of-the-record.md).\n")
    REPORT.write_text("\n".join(parts), encoding="utf-8")


def machine() -> str:
    """Return what the runs ran on, without a name or a path."""
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    servers = ", ".join(name for name in ("redis-server", "postgres") if find_program(name))
    return (
        f"{os.cpu_count()} cores ({platform.machine()}), {memory:.0f} GiB of memory, {platform.system()}, "
        f"Python {platform.python_version()}, {servers or 'no servers'}"
    )


def _summary(rows: list[Row]) -> str:
    lines = ["| fault | database | held | broken | not run |", "|---|---|---|---|---|"]
    for fault, database in sorted({(row.fault, row.database) for row in rows}):
        count = Counter(row.outcome for row in rows if (row.fault, row.database) == (fault, database))
        lines.append(f"| {fault} | {database} | {count['held']} | {count['BROKEN']} | {count['not run']} |")
    total = Counter(row.outcome for row in rows)
    lines.append(f"| **all {len(rows)} rows** | | {total['held']} | {total['BROKEN']} | {total['not run']} |")
    return "\n".join(lines) + "\n"


def _not_run_yet(rows: list[Row]) -> str:
    """Name the rows of the walk and of one database only that these runs do not hold: nothing is known of them."""
    there = {row.key for row in rows}
    wanted = {
        f"{row.fault}/{row.step}/{database}" for row in rows for database in DATABASES if row.fault not in SERVERS
    }
    for row in rows:
        action, colon, _ = row.step.partition(":")
        if row.fault == "kill-web" and colon:
            wanted |= {f"kill-web/{action}:{step}/{one}" for step in WALK_STEPS for one in DATABASES}
    missing = sorted(wanted - there)
    if not missing:
        return ""
    lines = [f"`{key}`" for key in missing]
    return (
        f"**Not run in these runs: {len(missing)} rows** (the machine was shared; nothing is known of them):\n\n"
        f"<details><summary>their names</summary>\n\n{', '.join(lines)}\n\n</details>\n"
    )


def _table(fault: str, rows: list[Row]) -> str:
    lines = [f"## {fault}\n", ABOUT.get(fault, ""), ""]
    lines.append("| step | database | outcome | counted from outside | seen by a person | date |")
    lines.append("|---|---|---|---|---|---|")
    for row in rows:
        told = row.told.replace("|", "/").replace("\n", " ")
        lines.append(f"| {row.step} | {row.database} | {row.outcome} | {told} | {row.seen} | {row.ran_on} |")
    return "\n".join(lines) + "\n"
