"""The database itself keeps append-only rows: a raw cursor cannot change them, also after later migrations."""

from io import StringIO

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.utils import DatabaseError

from dosewright.ground.triggers import (
    append_only_tables,
    expected_triggers,
    install,
    missing_triggers,
    present_triggers,
    remove,
)
from tests.ground.small_site import small_site

pytestmark = pytest.mark.django_db(transaction=True)

KEPT = {
    "ground_auditentry",
    "ground_signature",
    "ground_outbox",
    "ground_document",
    "ground_documentissue",
    "ground_idempotency",
    "prescriptions_orderversion",
    "stock_weighing",
    "stock_stockmovement",
    "runs_runstep",
    "runs_measurement",
    "runs_verdict",
    "labels_packunit",
    "labels_releaserecord",
    "labels_supply",
}


def test_the_tables_that_hold_the_truth_are_on_the_list() -> None:
    assert set(append_only_tables()) >= KEPT


def test_update_delete_and_replace_are_refused_on_every_one_of_them() -> None:
    for table in append_only_tables():
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA foreign_keys=OFF")
            cursor.execute("PRAGMA ignore_check_constraints=ON")
            columns = [row[1:3] for row in cursor.execute(f"PRAGMA table_info({table})").fetchall()]
            values = ["1" if "int" in kind.lower() or "bool" in kind.lower() else "'x'" for _, kind in columns]
            row = f"INTO {table} ({', '.join(name for name, _ in columns)}) VALUES ({', '.join(values)})"
            cursor.execute(f"INSERT {row}")
            for attempt in (f"UPDATE {table} SET id = 2", f"DELETE FROM {table}", f"REPLACE {row}"):
                with pytest.raises(DatabaseError, match="only ever added"):
                    cursor.execute(attempt)
            assert cursor.execute(f"SELECT id FROM {table}").fetchall() == [(1,)]
            cursor.execute("PRAGMA ignore_check_constraints=OFF")
            cursor.execute("PRAGMA foreign_keys=ON")


def test_a_table_rebuilt_behind_our_back_is_noticed_and_mended() -> None:
    small_site()
    with connection.cursor() as cursor:
        cursor.execute("DROP TRIGGER keep_ground_auditentry_update")
    assert missing_triggers() == {"keep_ground_auditentry_update"}
    with pytest.raises(SystemExit) as left:
        call_command("verify_audit", stdout=StringIO())
    assert left.value.code == 1
    call_command("migrate", verbosity=0)
    assert missing_triggers() == frozenset()


def test_remove_and_install_are_each_others_undo() -> None:
    remove()
    assert present_triggers(connection) == frozenset()
    install()
    assert present_triggers(connection) == expected_triggers("sqlite")
