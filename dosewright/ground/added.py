"""Rows that an action adds to append-only tables: its audit entry names each with a digest of what it says.

Triggers keep honest programs from changing such a row; whoever owns the database file can lift them. The digest
in the chain is what then tells that a row was changed, taken out, put in or moved.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence
from contextvars import ContextVar
from decimal import Decimal
from typing import Any

from django.db import models

from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.raw_rows import few_rows, rows_by

APART = frozenset({"ground_auditentry", "ground_readentry"})
"""Append-only tables whose rows no entry names: the chain itself, and looks, which are sealed by the hour."""

UNREADABLE = "cannot be read"
"""What stands for a row with a value that its column cannot hold: no entry has a digest of it."""

OPEN: ContextVar[Added | None] = ContextVar("rows added by the open action", default=None)


class Added:
    """The append-only rows that were added since the action was opened."""

    def __init__(self) -> None:
        self._pks: dict[type[models.Model], list[int]] = {}

    def note(self, row: models.Model) -> None:
        """Note one row that was written."""
        self._pks.setdefault(type(row), []).append(row.pk)

    def digests(self) -> dict[str, dict[str, str]]:
        """Return table -> key -> digest of every noted row that stands, read back from the database."""
        return {
            model._meta.db_table: {str(pk): digest_of(text) for pk, text in row_texts(model, pks)}
            for model, pks in self._pks.items()
        }


@contextlib.contextmanager
def gathering() -> Iterator[Added]:
    """Gather the append-only rows that this thread adds inside the block."""
    added = Added()
    token = OPEN.set(added)
    try:
        yield added
    finally:
        OPEN.reset(token)


def note_added(sender: type[models.Model], instance: models.Model, created: bool, **_: Any) -> None:
    """Receive post_save: note a row of an append-only table; raises PermissionError outside an action."""
    if created and named_by_entries(sender):
        _gathered(sender).note(instance)


def add_all(rows: Sequence[models.Model]) -> None:
    """Add many rows of one append-only table at once, and note them; `bulk_create` alone would tell nobody."""
    if not rows:
        return
    added = _gathered(type(rows[0]))
    for row in type(rows[0])._default_manager.bulk_create(rows):
        added.note(row)


def named_by_entries(model: type[models.Model]) -> bool:
    """Say whether audit entries name the rows of `model`."""
    return getattr(model, "append_only", False) and model._meta.db_table not in APART


def row_texts(model: type[models.Model], pks: Sequence[int] | None = None) -> Iterator[tuple[int, str]]:
    """Yield key and hashed text of the rows of an append-only table in the order of their keys.

    A column that holds nothing or its default is left out, so that a column which is added later changes the text
    of no earlier row. Hence the default of such a column is never changed.
    """
    columns = [field for field in model._meta.concrete_fields if not field.primary_key]
    names = [field.attname for field in columns]
    usual = [field.default if field.has_default() and not callable(field.default) else None for field in columns]
    rows = rows_by(model._default_manager.all(), "pk", *names) if pks is None else few_rows(model, pks)
    for pk, values in rows:
        yield pk, UNREADABLE if values is None else _text(names, values, usual)


def _text(names: list[str], values: Sequence[Any], usual: list[Any]) -> str:
    said = zip(names, values, usual, strict=True)
    try:
        return canonical_text({name: _exact(value) for name, value, default in said if _told(value, default)})
    except TypeError:
        return UNREADABLE


def _told(value: Any, default: Any) -> bool:
    return value is not None and value not in ("", default)


def _exact(value: Any) -> Any:
    return Decimal(repr(value)) if isinstance(value, float) else value


def _gathered(model: type[models.Model]) -> Added:
    added = OPEN.get()
    if added is None:
        raise PermissionError(f"rows of {model._meta.db_table} are added by an action alone")
    return added
