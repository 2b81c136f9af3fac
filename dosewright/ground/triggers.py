"""Append-only tables are guarded by the database itself, on SQLite and on PostgreSQL.

A model that sets ``append_only = True`` gets triggers that refuse UPDATE and DELETE (and TRUNCATE on
PostgreSQL). They are installed after every migrate, since a table rebuild on SQLite drops them silently.
"""

from __future__ import annotations

from typing import Any

from django.apps import apps
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper

EVENTS = {"sqlite": ("UPDATE", "DELETE"), "postgresql": ("UPDATE", "DELETE", "TRUNCATE")}
TGTYPE = {19: "UPDATE", 11: "DELETE", 34: "TRUNCATE"}
"""What PostgreSQL keeps of a trigger before each row, or before the statement for TRUNCATE (pg_trigger.tgtype)."""
BODY = "BEGIN RAISE EXCEPTION 'rows of % are only ever added', TG_TABLE_NAME; END"


def append_only_tables() -> tuple[str, ...]:
    """Return the names of the tables whose rows are only ever added."""
    return tuple(sorted(model._meta.db_table for model in apps.get_models() if getattr(model, "append_only", False)))


def expected_triggers(vendor: str) -> frozenset[str]:
    """Return the names of the triggers that must stand on a database of `vendor`."""
    return frozenset(_name(table, event) for table in append_only_tables() for event in EVENTS.get(vendor, ()))


def present_triggers(connection: BaseDatabaseWrapper) -> frozenset[str]:
    """Return the names of our triggers that stand on the database now and refuse; one that was emptied does not."""
    return _on_sqlite(connection) if connection.vendor == "sqlite" else _on_postgresql(connection)


def _on_sqlite(connection: BaseDatabaseWrapper) -> frozenset[str]:
    query = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'keep!_%' ESCAPE '!'"
    wanted = {
        _name(table, event): _create("sqlite", table, event)
        for table in append_only_tables()
        for event in EVENTS["sqlite"]
    }
    with connection.cursor() as cursor:
        cursor.execute(query)
        return frozenset(name for name, sql in cursor.fetchall() if sql == wanted.get(name))


def _on_postgresql(connection: BaseDatabaseWrapper) -> frozenset[str]:
    query = (
        "SELECT tgname, relname, tgtype FROM pg_trigger JOIN pg_proc ON pg_proc.oid = tgfoid "
        "JOIN pg_class ON pg_class.oid = tgrelid WHERE NOT tgisinternal AND tgname LIKE 'keep!_%%' ESCAPE '!' "
        "AND tgenabled IN ('O', 'A') AND tgqual IS NULL AND proname = 'keep_rows' AND btrim(prosrc) = %s"
    )
    with connection.cursor() as cursor:
        cursor.execute(query, [BODY])
        rows = cursor.fetchall()
    return frozenset(name for name, table, kind in rows if kind in TGTYPE and name == _name(table, TGTYPE[kind]))


def missing_triggers(using: str = "default") -> frozenset[str]:
    """Return the names of the triggers that should stand and do not."""
    connection = connections[using]
    return expected_triggers(connection.vendor) - present_triggers(connection)


def install(using: str = "default") -> None:
    """Create every missing trigger of the tables that exist."""
    connection = connections[using]
    existing = set(connection.introspection.table_names())
    standing = present_triggers(connection)
    with connection.cursor() as cursor:
        for table in append_only_tables():
            for event in EVENTS.get(connection.vendor, ()):
                if table in existing and _name(table, event) not in standing:
                    _drop(cursor, connection.vendor, table, event)
                    cursor.execute(_create(connection.vendor, table, event))


def remove(using: str = "default") -> None:
    """Drop all our triggers: for clearing a test database, never in service."""
    connection = connections[using]
    with connection.cursor() as cursor:
        for table in append_only_tables():
            for event in EVENTS.get(connection.vendor, ()):
                _drop(cursor, connection.vendor, table, event)


def install_after_migrate(sender: Any, using: str = "default", **_: Any) -> None:
    """Receive post_migrate: install the triggers of the tables that exist by then."""
    install(using)


def _drop(cursor: Any, vendor: str, table: str, event: str) -> None:
    on_table = "" if vendor == "sqlite" else f' ON "{table}"'
    cursor.execute(f'DROP TRIGGER IF EXISTS "{_name(table, event)}"{on_table}')


def _name(table: str, event: str) -> str:
    return f"keep_{table}_{event.lower()}"


def _create(vendor: str, table: str, event: str) -> str:
    name = _name(table, event)
    message = f"rows of {table} are only ever added"
    if vendor == "sqlite":
        return f'CREATE TRIGGER "{name}" BEFORE {event} ON "{table}" BEGIN SELECT RAISE(ABORT, \'{message}\'); END'
    level = "STATEMENT" if event == "TRUNCATE" else "ROW"
    function = f"CREATE OR REPLACE FUNCTION keep_rows() RETURNS trigger LANGUAGE plpgsql AS $$ {BODY} $$;"
    return (
        f'{function} CREATE TRIGGER "{name}" BEFORE {event} ON "{table}" FOR EACH {level} EXECUTE FUNCTION keep_rows()'
    )
