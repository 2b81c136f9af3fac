"""System checks that find mistakes of an installation at its start."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.checks import Error, Tags, register
from django.db import connection

from dosewright.ground.triggers import append_only_tables, missing_triggers
from dosewright.roof.clock import MARK

SEEDED = "seeded-home"
"""Marks a home whose people and orders are invented, though the demo did not make it."""

LOOPBACK = {"127.0.0.1", "localhost", "[::1]", "testserver"}


@register(Tags.database)
def append_only_triggers_stand(app_configs: Any, databases: Any = None, **_: Any) -> list[Error]:
    """Every append-only table that exists has its triggers."""
    if not databases or "default" not in databases:
        return []
    tables = set(connection.introspection.table_names())
    if not tables.intersection(append_only_tables()):
        return []
    missing = [name for name in missing_triggers() if any(name.startswith(f"keep_{table}_") for table in tables)]
    return (
        [
            Error(
                f"append-only triggers are missing: {', '.join(sorted(missing))}",
                hint="run `python3 manage.py migrate`",
                id="dosewright.E001",
            )
        ]
        if missing
        else []
    )


@register(Tags.security)
def demo_home_stays_local(app_configs: Any, **_: Any) -> list[Error]:
    """A demo home answers on loopback addresses only."""
    if not any((settings.DOSEWRIGHT_HOME / mark).exists() for mark in (MARK, SEEDED)):
        return []
    others = [host for host in settings.ALLOWED_HOSTS if host not in LOOPBACK]
    return (
        [
            Error(
                f"a demo home is refused on {', '.join(others)}",
                hint="its people and passwords are invented",
                id="dosewright.E002",
            )
        ]
        if others
        else []
    )
