"""Rows in the order of a key, also where somebody left a value in one that cannot be read back."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db import models

PAGE = 2000
UNREADABLE = (ValueError, TypeError, ArithmeticError)


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
