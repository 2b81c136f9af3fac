"""The machinery of the faults: a step ends a real process once, and all that is counted can be found wrong.

The rows themselves run by `python -m tests.faults`.
"""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from itertools import count
from pathlib import Path
from typing import Any

import pytest

from tests.faults import counting
from tests.faults.making_work import ACTIONS
from tests.faults.programs import Program
from tests.faults.report import _summary, _table
from tests.faults.rows import BROKEN, HELD, NOT_RUN, CannotRun, Ledger, keep, kept
from tests.flows.living import Home
from tests.flows.tables import Tables
from tests.services.stacks import ROOT, Stack, sqlite_stack, wait_until

numbers = count(1)


@pytest.fixture(scope="module")
def stack(tmp_path_factory: pytest.TempPathFactory) -> Stack:
    return sqlite_stack(tmp_path_factory.mktemp("faults"))


@pytest.fixture
def home(stack: Stack, tmp_path: Path) -> Iterator[Home]:
    """A home whose database is put back after each test."""
    path = Path(stack.env["DOSEWRIGHT_HOME"]) / "dosewright.sqlite3"
    with closing(sqlite3.connect(path)) as database:
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    before = path.read_bytes()
    yield Home(stack=stack, base_url="", logs=tmp_path, site="", tables=Tables(stack))
    path.write_bytes(before)


def test_steps_are_refused_outside_tests(tmp_path: Path) -> None:
    env = {name: value for name, value in os.environ.items() if not name.startswith("DOSEWRIGHT_")}
    env |= {"DOSEWRIGHT_HOME": str(tmp_path), "DOSEWRIGHT_BOOTSTRAP": "off", "DOSEWRIGHT_STEPS": str(tmp_path)}
    env["DJANGO_SETTINGS_MODULE"] = "dosewright.roof.settings"
    done = subprocess.run(
        [sys.executable, "-c", "import dosewright.roof.settings"],
        cwd=ROOT, env=env, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode != 0
    assert "DOSEWRIGHT_STEPS is refused" in done.stderr


def test_a_real_worker_is_killed_at_a_step_once_and_another_does_the_work(stack: Stack, tmp_path: Path) -> None:
    stack.python("-m", "tests.services.slow_work", "leave", "faults")
    command = [sys.executable, "-m", "tests.services.slow_work", "work"]
    worker = Program(name="worker", command=command, env=stack.env, folder=tmp_path)
    worker.steps.mkdir()
    worker.begin()
    try:
        worker.arm("kill", "action-recorded", ACTIONS["plan"])
        assert worker.wait_met() == "plan.make"
        wait_until(lambda: not worker.is_alive)
        assert counted(stack) == (0, 0, 1)
        worker.begin()
        wait_until(lambda: counted(stack) == (1, 1, 2), within_s=120)
        assert not worker.met
    finally:
        worker.kill()


def counted(stack: Stack) -> tuple[int, int, int]:
    """Return effects, pieces done and attempts."""
    tables = Tables(stack)
    effects = tables.one("SELECT count(*) FROM ground_auditentry WHERE subject = 'effect'")
    done = tables.one("SELECT count(*) FROM ground_work WHERE state = 'done'")
    return effects, done, tables.one("SELECT sum(attempts) FROM ground_work")


def test_nothing_is_wrong_in_a_home_without_faults(home: Home) -> None:
    assert counting.troubles(home) == []


PLANTS: dict[str, list[tuple[str, dict[str, Any]]]] = {
    "a dose line stands in two plans": [
        ("plates_printbatch", {"id": 1, "plan": "P-1", "state": "planned"}),
        ("plates_printbatch", {"id": 2, "plan": "P-2", "state": "planned"}),
        ("plates_zone", {"batch_id": 1, "line_id": 7}),
        ("plates_zone", {"batch_id": 2, "line_id": 7}),
    ],
    "a planned dose line is not reserved": [
        ("plates_printbatch", {"id": 1, "plan": "P-1", "state": "planned"}),
        ("plates_zone", {"batch_id": 1, "line_id": 7}),
        ("prescriptions_doseline", {"id": 7, "committed_to": ""}),
    ],
    "a dose line is reserved for a plan without a zone": [("prescriptions_doseline", {"committed_to": "P-1"})],
    "a plan is there twice": [("plates_planrecord", {"code": "P-1"}), ("plates_planrecord", {"code": "P-1"})],
    "a batch has two plate files": [("plates_platefile", {"batch_id": 1}), ("plates_platefile", {"batch_id": 1})],
    "a delivered batch has no plate file": [("plates_printbatch", {"state": "ready"})],
    "a unit lies in two packs": [
        ("labels_packunit", {"unit_id": 1, "pack_id": 1}),
        ("labels_packunit", {"unit_id": 1, "pack_id": 2}),
    ],
    "a pack was supplied twice": [("labels_supply", {"pack_id": 1}), ("labels_supply", {"pack_id": 1})],
    "a pack was released twice": [
        ("labels_releaserecord", {"pack_id": 1, "outcome": "released", "signature_id": 1}),
        ("labels_releaserecord", {"pack_id": 1, "outcome": "released", "signature_id": 2}),
    ],
    "somebody signed the same twice": [
        ("ground_signature", {"subject": "O-1", "subject_version": 1, "action": "order.sign", "signer_id": 1}),
        ("ground_signature", {"subject": "O-1", "subject_version": 1, "action": "order.sign", "signer_id": 1}),
    ],
    "a fact was not handed to both houses": [("ground_outbox", {"fact": "order received"})],
    "stock is not what moved": [("stock_stockmovement", {"lot": "L-1", "account": "store", "amount_ug": 5})],
    "a balance is below nothing": [("stock_balance", {"lot": "L-1", "account": "store", "amount_ug": -5})],
    "work failed by a fault": [("ground_work", {"state": "failed", "failure": "OSError"})],
}
"""For each thing that must not be, rows that make it so."""


@pytest.mark.parametrize("what", counting.ONCE)
def test_what_must_not_be_is_found_or_refused_by_the_database(home: Home, what: str) -> None:
    refused = ""
    for table, values in PLANTS[what]:
        refused = refused or plant(home, table, values)
    by_database = refused.startswith(("UNIQUE", "CHECK"))
    assert by_database or any(one.startswith(what) for one in counting.troubles(home)), (refused, what)


def plant(home: Home, table: str, values: dict[str, Any]) -> str:
    """Write a row past all of our code and return what the database has against it.

    Columns that are not named get something that fits.
    """
    with closing(sqlite3.connect(home.tables.path)) as database:
        columns = database.execute(f"PRAGMA table_info({table})").fetchall()
        row = {
            name: 0 if any(part in kind.lower() for part in ("int", "bool", "real", "decimal")) else f"x{next(numbers)}"
            for _, name, kind, needed, _, key in columns
            if needed and not key
        }
        row |= values
        marks = ", ".join("?" * len(row))
        try:
            database.execute(f"INSERT INTO {table} ({', '.join(row)}) VALUES ({marks})", list(row.values()))
        except sqlite3.IntegrityError as refused:
            return str(refused)
        database.commit()
        return ""


@pytest.mark.parametrize(
    "forgery",
    [
        "UPDATE ground_auditentry SET text = text || ' ' WHERE seq = 1",
        "DELETE FROM ground_auditentry WHERE seq = 1",
        "UPDATE ground_chain SET length = length + 1",
    ],
)
def test_a_broken_chain_is_found(home: Home, forgery: str) -> None:
    with closing(sqlite3.connect(home.tables.path)) as database:
        for verb in ("update", "delete"):
            database.execute(f"DROP TRIGGER keep_ground_auditentry_{verb}")
        if not home.tables.one("SELECT count(*) FROM ground_auditentry"):
            plant(home, "ground_auditentry", {"seq": 1, "previous": counting.GENESIS, "site_id": 1})
        database.execute(forgery)
        database.commit()
    assert any("chain" in one for one in counting.troubles(home)), counting.troubles(home)


def test_a_file_that_is_gone_differs_or_stands_alone_is_found(home: Home) -> None:
    folder = home.path / "documents"
    folder.mkdir()
    (folder / "other.pdf").write_bytes(b"other")
    (folder / ".half").write_bytes(b"half")
    for name in ("gone.pdf", "other.pdf"):
        plant(home, "ground_document", {"path": f"documents/{name}", "file_digest": "0" * 64})
    told = list(counting.file_troubles(home))
    assert told == ["documents/gone.pdf is gone", "documents/other.pdf is not what was written"]
    alone = folder / "alone.pdf"
    alone.write_bytes(b"alone")
    assert {path.name for path in counting.left_over(home)} == {"alone.pdf", ".half"}
    os.utime(alone, (0, 0))
    assert "no row tells of alone.pdf, which is old" in counting.file_troubles(home)


def test_rows_say_held_broken_or_not_run(tmp_path: Path) -> None:
    ledger = Ledger("sqlite", say=lambda text: None)
    with ledger.row("kill-web", "a") as told:
        told.say("1 row")
    with ledger.row("kill-web", "b") as told:
        raise AssertionError("2 rows")
    with ledger.row("kill-web", "c") as told:
        raise CannotRun("no disk")
    with ledger.row("kill-web", "d") as told:
        raise KeyError("gone")
    assert [row.outcome for row in ledger.rows] == [HELD, BROKEN, NOT_RUN, BROKEN]
    keep(tmp_path / "kept.json", {row.key: row for row in ledger.rows}, "a machine")
    assert list(kept(tmp_path / "kept.json").values()) == ledger.rows
    assert "| kill-web | sqlite | 1 | 2 | 1 |" in _summary(ledger.rows)
    assert "| b | sqlite | BROKEN | 2 rows |" in _table("kill-web", ledger.rows)
