"""What the ground promises, on SQLite with the embedded worker and on PostgreSQL with Redis and Celery."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.services.servers import Servers
from tests.services.stacks import ROOT, Stack, postgres_stack, sqlite_stack, wait_until


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def stack(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stack]:
    home = tmp_path_factory.mktemp(request.param)
    if request.param == "sqlite":
        yield sqlite_stack(home)
    else:
        servers: Servers = request.getfixturevalue("servers")
        yield postgres_stack(home, servers)


TRY_TO_CHANGE = """
import django; django.setup()
from django.db import DatabaseError, connection, transaction
from dosewright.ground.triggers import append_only_tables, missing_triggers
assert missing_triggers() == frozenset(), missing_triggers()
postgres = connection.vendor == "postgresql"
refused = 0
for table in append_only_tables():
    with connection.cursor() as cursor:
        if not postgres:
            cursor.execute("PRAGMA foreign_keys=OFF")
            cursor.execute("PRAGMA ignore_check_constraints=ON")
            columns = [row[1:3] for row in cursor.execute(f"PRAGMA table_info({table})").fetchall()]
            values = ["1" if "int" in kind.lower() or "bool" in kind.lower() else "'x'" for _, kind in columns]
            row = f"INTO {table} ({', '.join(name for name, _ in columns)}) VALUES ({', '.join(values)})"
            cursor.execute(f"INSERT {row}")
            attempts = [f"UPDATE {table} SET id = 2", f"DELETE FROM {table}", f"REPLACE {row}"]
        else:
            attempts = [f"TRUNCATE {table} CASCADE", f"DROP TRIGGER keep_{table}_update ON {table}",
                        f"ALTER TABLE {table} DISABLE TRIGGER ALL", f"DROP TABLE {table} CASCADE"]
        for attempt in attempts:
            try:
                with transaction.atomic():
                    cursor.execute(attempt)
            except DatabaseError:
                refused += 1
            else:
                raise SystemExit("went through: " + attempt)
print(len(append_only_tables()), refused)
"""

CHANGE_REAL_ROWS = """
import django; django.setup()
from django.db import DatabaseError, connection, transaction
refused = 0
for table in ("ground_auditentry", "ground_outbox"):
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT count(*) FROM {table}")
        assert cursor.fetchone()[0] > 0
        attempts = [f"UPDATE {table} SET id = id + 1000000", f"DELETE FROM {table}"]
        attempts += [f"TRUNCATE {table} CASCADE"] if connection.vendor == "postgresql" else []
        for attempt in attempts:
            try:
                with transaction.atomic():
                    cursor.execute(attempt)
            except DatabaseError as error:
                assert "only ever added" in str(error) or "permission denied" in str(error), error
                refused += 1
print(refused, len(attempts) * 2)
"""


def test_four_processes_do_two_hundred_actions_without_a_deadlock(stack: Stack) -> None:
    stack.python("-m", "tests.services.slow_work", "leave", "storm")
    command = [sys.executable, "-m", "tests.services.storm", "50"]
    storms = [
        subprocess.Popen([*command, f"w{number}"], cwd=ROOT, env=stack.env, stderr=subprocess.PIPE, text=True)
        for number in range(4)
    ]
    errors = [storm.communicate(timeout=180)[1] for storm in storms]
    assert [storm.returncode for storm in storms] == [0] * 4, errors
    told = stack.python("manage.py", "verify_audit", "--json")
    assert '"faults": []' in told
    assert '"entries": 201' in told


def test_rows_that_are_there_cannot_be_changed_by_the_service_or_by_the_owner(stack: Stack) -> None:
    for owner in (False, True):
        refused, attempts = stack.python("-c", CHANGE_REAL_ROWS, owner=owner).split()
        assert refused == attempts


def test_a_raw_cursor_of_the_service_changes_no_append_only_table(stack: Stack, tmp_path: Path) -> None:
    fresh = sqlite_stack(tmp_path) if stack.name == "sqlite" else stack
    tables, refused = map(int, fresh.python("-c", TRY_TO_CHANGE).split())
    assert tables > 25
    assert refused == tables * (3 if stack.name == "sqlite" else 4)


def test_a_worker_killed_between_claim_and_commit_loses_nothing_and_does_nothing_twice(stack: Stack) -> None:
    home = Path(stack.env["DOSEWRIGHT_HOME"])
    kind = "work" if stack.name == "sqlite" else "celery"
    (home / "hold").touch()
    stack.python("-m", "tests.services.slow_work", "leave", "kill")
    with stack.running("-m", "tests.services.slow_work", kind) as first:
        wait_until(lambda: any(home.glob("claimed-*")), within_s=40)
        first.send_signal(signal.SIGKILL)
        first.wait()
    assert counted(stack)[0] == 0
    (home / "hold").unlink()
    with stack.running("-m", "tests.services.slow_work", kind):
        wait_until(lambda: counted(stack)[1] == 2, within_s=60)
    effects, done, attempts = counted(stack)
    assert (effects, done) == (2, 2)
    assert attempts == 3


def counted(stack: Stack) -> tuple[int, int, int]:
    """Return effects, pieces done and attempts, as another process sees them."""
    effects, done, attempts = stack.python("-m", "tests.services.slow_work", "count").split()
    return int(effects), int(done), int(attempts)
