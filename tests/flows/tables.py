"""Looks into a home's database from outside, past all of our code: by the sqlite3 module or by psycopg."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from tests.services.stacks import Stack

NO_RECORDS = frozenset({"django_session", "ground_auditentry", "ground_chain"})
"""Tables that may grow when something is refused: the session of who asked, and the audit trail."""


class Tables:
    """The tables of one stack, to be read."""

    def __init__(self, stack: Stack) -> None:
        self._url = stack.env.get("DOSEWRIGHT_DATABASE_URL", "")
        self.path = Path(stack.env["DOSEWRIGHT_HOME"]) / "dosewright.sqlite3"

    @contextmanager
    def _connected(self) -> Iterator[Any]:
        if self._url:
            import psycopg

            with psycopg.connect(self._url, autocommit=True) as connection:
                yield connection
        else:
            with closing(sqlite3.connect(f"file:{self.path}?mode=ro", uri=True, timeout=20)) as connection:
                yield connection

    def all(self, query: str) -> list[tuple[Any, ...]]:
        """Return every row of a query."""
        with self._connected() as connection:
            return [tuple(row) for row in connection.execute(query).fetchall()]

    def one(self, query: str) -> Any:
        """Return the one value of a query."""
        ((value,),) = self.all(query)
        return value

    def names(self) -> list[str]:
        """Return the name of every table."""
        query = (
            "SELECT tablename FROM pg_tables WHERE schemaname = 'public'"
            if self._url
            else "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
        )
        return sorted(name for (name,) in self.all(query))

    def counts(self) -> dict[str, int]:
        """Return how many rows each table holds that only grows when something is done."""
        names = [name for name in self.names() if name not in NO_RECORDS]
        query = " UNION ALL ".join(f"SELECT '{name}', count(*) FROM {name}" for name in names)
        return dict(self.all(query))

    def texts(self, *, but: frozenset[str]) -> Iterator[tuple[str, str]]:
        """Yield table and row as text, for every table that is not left out."""
        for name in self.names():
            if name not in but:
                for row in self.all(f"SELECT * FROM {name}"):
                    yield name, repr(row)
