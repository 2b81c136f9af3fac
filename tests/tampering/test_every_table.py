"""A row of any append-only table that was changed, taken out, put in or moved is found, and its place is named."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any, ClassVar

import pytest
from django.db import connection, models

from dosewright.ground.added import row_texts
from dosewright.ground.export import named_models
from dosewright.ground.offline_verifier import verify_lines
from dosewright.ground.verify import verify
from tests.labels.sharing import OnShelf
from tests.packs import Shelf
from tests.tampering.attacks import attacked
from tests.tampering.full_record import empty_tables, full_record, rows_of

pytestmark = pytest.mark.slow

Statements = Callable[[type[models.Model], list[int]], list[str]]


def other_value(field: models.Field[Any, Any], *, by: int = 1) -> str:
    """Return SQL for a value of the column that is not the one that stands there."""
    column = f'"{field.column}"'
    if isinstance(field, models.DecimalField):
        return f"coalesce({column}, 0) + 1"
    if field.is_relation or isinstance(field, models.IntegerField):
        return f"coalesce({column}, 0) + {by}"
    if isinstance(field, models.BooleanField):
        return f"NOT {column}"
    if isinstance(field, models.DateTimeField):
        return "'2031-01-01 00:00:00'"
    if isinstance(field, models.DateField):
        return "'2031-01-01'"
    return f"coalesce({column}, '') || 'x'"


def columns_of(model: type[models.Model]) -> list[models.Field[Any, Any]]:
    """Return every column but the key."""
    return [field for field in model._meta.concrete_fields if not field.primary_key]


def update(model: type[models.Model], keys: list[int]) -> list[str]:
    """Change the last column of the first row."""
    field = columns_of(model)[-1]
    return [f'UPDATE {model._meta.db_table} SET "{field.column}" = {other_value(field)} WHERE id = {keys[0]}']


def delete(model: type[models.Model], keys: list[int]) -> list[str]:
    """Take the first row out."""
    return [f"DELETE FROM {model._meta.db_table} WHERE id = {keys[0]}"]


def cut(model: type[models.Model], keys: list[int]) -> list[str]:
    """Take the last row out."""
    return [f"DELETE FROM {model._meta.db_table} WHERE id = {keys[-1]}"]


def insert(model: type[models.Model], keys: list[int]) -> list[str]:
    """Put a row behind the last that is like the first in all that need not differ."""
    table, fields = model._meta.db_table, columns_of(model)
    names = ", ".join(f'"{field.column}"' for field in fields)
    values = ", ".join(_copied(field) for field in fields)
    return [f"INSERT INTO {table} (id, {names}) SELECT {keys[-1] + 1}, {values} FROM {table} WHERE id = {keys[0]}"]


def _copied(field: models.Field[Any, Any]) -> str:
    kept = isinstance(field, models.DateField | models.BooleanField | models.DecimalField)
    return f'"{field.column}"' if kept else other_value(field, by=1_000_003)


def move(model: type[models.Model], keys: list[int]) -> list[str]:
    """Give the first row the key of the last and the other way round; a row that is alone goes behind itself."""
    table, first, last = model._meta.db_table, keys[0], keys[-1]
    if first == last:
        return [f"UPDATE {table} SET id = {last + 1} WHERE id = {first}"]
    steps = ((first, -1), (last, first), (-1, last))
    return [f"UPDATE {table} SET id = {new} WHERE id = {old}" for old, new in steps]


class TestEveryTable(OnShelf):
    on: ClassVar[Shelf]
    keys: ClassVar[dict[type[models.Model], list[int]]]

    @classmethod
    def setUpClass(cls) -> None:
        super(OnShelf, cls).setUpClass()
        try:
            cls.on = full_record()
            cls.keys = {model: rows_of(model) for model in named_models()}
        except BaseException:
            cls.tearDownClass()
            raise

    def test_nothing_is_found_where_nothing_was_done_and_no_table_is_left_out(self) -> None:
        assert empty_tables() == []
        assert len(self.keys) > 35
        assert self.found([]) == {}

    def test_update(self) -> None:
        self.attack(update, "is not the row that entry", lambda keys: keys[:1])

    def test_delete(self) -> None:
        self.attack(delete, "is gone", lambda keys: keys[:1])

    def test_cut_tail(self) -> None:
        self.attack(cut, "is gone", lambda keys: keys[-1:])

    def test_insert(self) -> None:
        self.attack(insert, "no audit entry tells of it", lambda keys: [keys[-1] + 1])

    def test_reorder(self) -> None:
        self.attack(
            move,
            "",
            lambda keys: sorted({keys[0], keys[-1]}) if len(keys) > 1 else [keys[0], keys[0] + 1],
        )

    def test_no_column_of_any_table_can_be_changed_unseen(self) -> None:
        unseen = []
        for model, keys in self.keys.items():
            before = list(row_texts(model, keys[:1]))
            for field in columns_of(model):
                value = other_value(field, by=1_000_003)
                change = f'UPDATE {model._meta.db_table} SET "{field.column}" = {value} WHERE id = {keys[0]}'
                with attacked((f"DROP TRIGGER keep_{model._meta.db_table}_update", change), keeps_lifted=True):
                    if list(row_texts(model, keys[:1])) == before:
                        unseen.append((model._meta.db_table, field.column))
        assert unseen == []

    def test_a_value_that_cannot_be_read_back_hides_nothing(self) -> None:
        def spoil(model: type[models.Model], keys: list[int]) -> list[str]:
            fields = [one for one in columns_of(model) if isinstance(one, models.DateTimeField | models.DecimalField)]
            wrong = {one.column: "1e40" if isinstance(one, models.DecimalField) else "'2031-99-99'" for one in fields}
            return [
                f'UPDATE {model._meta.db_table} SET "{column}" = {value} WHERE id = {keys[0]}'
                for column, value in list(wrong.items())[:1]
            ]

        statements = [one for model, keys in self.keys.items() for one in spoil(model, keys)]
        found = self.found(statements)
        assert len(found) == len(statements) > 25
        assert all("is not the row that entry" in said for said in found.values()), found

    def attack(self, statements: Statements, what: str, places: Callable[[list[int]], list[int]]) -> None:
        """Attack every table at once; exactly the attacked rows are named, and each says what was done."""
        done = [one for model, keys in self.keys.items() for one in statements(model, keys)]
        found = self.found(done)
        assert set(found) == {
            f"{model._meta.db_table} row {key}" for model, keys in self.keys.items() for key in places(keys)
        }
        assert all(what in said for said in found.values()), found

    def found(self, statements: list[str]) -> dict[str, str]:
        """Run the statements and return the rows that are named with what is said of them, the same offline."""
        with attacked(tuple(statements)), tempfile.TemporaryDirectory() as folder:
            export = Path(folder) / "export"
            here = verify(export=export).faults
            with export.open(encoding="utf-8") as lines:
                offline = verify_lines(lines).faults
        assert [tuple(one) for one in offline] == [(one.where, one.what) for one in here]
        assert connection.vendor == "sqlite"
        return {one.where: one.what for one in here if " row " in one.where}
