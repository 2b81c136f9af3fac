"""Rows in the order of a key, also where somebody left a value in one that cannot be read back."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from typing import Any

from django.db import connection, models

PAGE = 2000
UNREADABLE = (ValueError, TypeError, ArithmeticError)

Converter = Callable[[Any, Any, Any], Any]


def rows_by(rows: models.QuerySet[Any], key: str, *names: str) -> Iterator[tuple[int, tuple[Any, ...] | None]]:
    """Yield ``(key, values)`` of every row in the order of a whole-numbered, unique `key`.

    The values are None for a row that holds what its column cannot: no number, no day. Pages by key, so that
    one such row hides no other.
    """
    ordered = rows.order_by(key)
    after: int | None = None
    while True:
        page = (ordered if after is None else ordered.filter(**{f"{key}__gt": after}))[:PAGE]
        found = list(_page(page, key, names))
        yield from found
        if len(found) < PAGE:
            return
        after = found[-1][0]


def _page(page: models.QuerySet[Any], key: str, names: tuple[str, ...]) -> Iterator[tuple[int, tuple[Any, ...] | None]]:
    try:
        whole = list(page.values_list(key, *names))
    except UNREADABLE:
        for one in list(page.values_list(key, flat=True)):
            yield one, _values(page.model._default_manager.filter(**{key: one}, pk__in=page.values("pk")), names)
        return
    for number, *values in whole:
        yield number, tuple(values)


def _values(row: models.QuerySet[Any], names: tuple[str, ...]) -> tuple[Any, ...] | None:
    try:
        return tuple(row.values_list(*names).get())
    except UNREADABLE:
        return None


def few_rows(model: type[models.Model], pks: Sequence[int]) -> list[tuple[int, tuple[Any, ...] | None]]:
    """Return ``(key, values of every column but the key)`` of a few rows in the order of their keys.

    The same values as `rows_by` gives, by a statement that is put together once: every action reads what it added.
    """
    sql, columns = _statement(model, connection.vendor)
    converted = [(one, _converters(one)) for one in columns]
    try:
        with connection.cursor() as cursor:
            cursor.execute(sql % ", ".join(["%s"] * len(pks)), list(pks))
            return [(key, _converted(values, converted)) for key, *values in cursor.fetchall()]
    except UNREADABLE:
        names = [field.attname for field in model._meta.concrete_fields if not field.primary_key]
        return list(rows_by(model._default_manager.filter(pk__in=pks), "pk", *names))


@lru_cache(maxsize=256)
def _statement(model: type[models.Model], vendor: str) -> tuple[str, list[Any]]:
    quoted, table = connection.ops.quote_name, model._meta.db_table
    columns = [field.get_col(table) for field in model._meta.concrete_fields if not field.primary_key]
    key = quoted(str(model._meta.pk.column if model._meta.pk else "id"))
    names = ", ".join([key, *(quoted(str(column.target.column)) for column in columns)])
    sql = f"SELECT {names} FROM {quoted(table)} WHERE {key} IN (%s) ORDER BY {key}"
    return sql, columns


def _converters(column: Any) -> list[Converter]:
    """Return what makes a column's values those of its field; of this thread's connection, so never kept."""
    return [*connection.ops.get_db_converters(column), *column.get_db_converters(connection)]


def _converted(values: Sequence[Any], columns: list[tuple[Any, list[Converter]]]) -> tuple[Any, ...]:
    return tuple(_value(value, *column) for value, column in zip(values, columns, strict=True))


def _value(stored: Any, column: Any, converters: list[Converter]) -> Any:
    for convert in converters:
        stored = convert(stored, column, connection)
    return stored
