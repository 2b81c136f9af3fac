"""Walks fault x step x database and writes docs/reliability.md.

    python -m tests.faults [--only FAULT/STEP/DATABASE] [--quick] [--database NAME] [--family NAME,NAME] [--no-report]

A row that is run again takes the place of its older one. Exit 1 when a row is broken.
"""

from __future__ import annotations

import argparse
import fnmatch
import os
import signal
import sys
import tempfile
import traceback
from pathlib import Path

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
django.setup()

from tests.faults import families  # noqa: E402
from tests.faults.making_work import Ward  # noqa: E402
from tests.faults.report import KEPT, machine, write_report  # noqa: E402
from tests.faults.rows import BROKEN, Ledger, Row, Wanted, keep, kept  # noqa: E402
from tests.faults.trial import DATABASES, trial  # noqa: E402


def main(arguments: list[str]) -> int:
    """Run what is asked for; return 1 when a row is broken."""
    asked = _asked(arguments)
    # Asked to stop, it still takes down its programs, servers and disks.
    signal.signal(signal.SIGTERM, lambda number, frame: sys.exit(128 + number))
    fault, step, database = [*asked.only.split("/"), "*", "*"][:3]
    rows: list[Row] = []
    for name in DATABASES:
        if fnmatch.fnmatch(name, database) and asked.database in {"", name}:
            rows += run_on(name, asked, lambda f, s: fnmatch.fnmatch(f, fault) and fnmatch.fnmatch(s, step))
    if not asked.no_report:
        write_report(kept(KEPT).values())
    broken = [row.key for row in rows if row.outcome == BROKEN]
    print(f"{len(rows)} rows, {len(broken)} broken {broken or ''}")
    return 1 if broken or not rows else 0


def keep_row(row: Row) -> None:
    """Let a row take the place of its older one at once, so that a run that is cut short leaves what it found."""
    keep(KEPT, kept(KEPT) | {row.key: row}, machine())


def run_on(database: str, asked: argparse.Namespace, wanted: Wanted) -> list[Row]:
    """Run the families that are asked for on one database: those that can share a home in one home."""
    ledger = Ledger(database, say=lambda text: print(text, flush=True))
    if not asked.no_report:
        ledger.keep = keep_row
    fault = asked.only.partition("/")[0]
    chosen = [
        one
        for one in families.FAMILIES
        if (not asked.family or one.name in asked.family.split(",")) and one.has(fault, database)
    ]
    together = [one for one in chosen if not one.needs_empty_site and not one.apart]
    for group in (together, *([one] for one in chosen if one not in together)):
        if group:
            _in_one_home(database, group, ledger, wanted, quick=asked.quick)
    return ledger.rows


def _in_one_home(database: str, group: list[families.Family], ledger: Ledger, wanted: Wanted, *, quick: bool) -> None:
    with tempfile.TemporaryDirectory(prefix="dosewright-faults-") as folder:
        Path(folder).chmod(0o755)
        try:
            with trial(database, Path(folder) / "t") as alive:
                ward = None if group[0].needs_empty_site else Ward(alive)
                for family in group:
                    family.run(alive, ward, ledger, family.narrowed(wanted, quick=quick))
        except Exception as trouble:  # noqa: BLE001 - whatever it is, the report must say so
            traceback.print_exc()
            names = ", ".join(family.name for family in group)
            ledger.add("harness", names, BROKEN, f"{type(trouble).__name__}: {trouble}"[:500])


def _asked(arguments: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description="Faults, and what they led to.")
    parser.add_argument("--only", default="*/*/*", help="FAULT/STEP/DATABASE, each with * for any")
    parser.add_argument("--database", default="", choices=("", *DATABASES))
    parser.add_argument("--family", default="", help=f"some of {', '.join(one.name for one in families.FAMILIES)}")
    parser.add_argument("--quick", action="store_true", help="a few rows of each family")
    parser.add_argument("--no-report", action="store_true", help="leave docs/reliability.md as it is")
    return parser.parse_args(arguments)


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
