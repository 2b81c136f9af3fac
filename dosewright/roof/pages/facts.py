"""Any record as sections, lists and tables, so that no record is ever without a page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, is_dataclass, replace
from types import MappingProxyType
from typing import Any

from dosewright.roof.pages.notation import Cell, is_simple, label_of, plain_mapping, unit_ending, written


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One named value, or several of them."""

    label: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Records of one kind below each other."""

    title: str
    name: str
    label: str
    columns: tuple[str, ...]
    numeric: tuple[bool, ...]
    rows: tuple[tuple[tuple[Cell, ...], ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One record: its own values, then what hangs on it."""

    title: str
    name: str
    items: tuple[Item, ...]
    parts: tuple[Section | Table, ...] = field(default_factory=tuple)


def section_of(
    record: Any,
    *,
    title: str = "",
    name: str = "",
    hidden: Sequence[str] = (),
    columns: Mapping[str, Sequence[str]] = MappingProxyType({}),
    within: str = "",
) -> Section:
    """Return a record as a section; `hidden` names are left out, `columns` chooses those of tables by name.

    Tables are labelled by what they are `within`, so that two "Units" of a page can be told apart by ear.
    """
    items: list[Item] = []
    parts: list[Section | Table] = []
    for each, value in plain_mapping(record).items():
        if each in hidden:
            continue
        if is_simple(value):
            items.append(Item(label=label_of(each), cells=(written(each, value),)))
        elif is_record(value):
            inside = f"{within}{label_of(each)}: "
            inner = section_of(_in_its_unit(each, value), title=label_of(each), name=each, within=inside)
            if inner.items or inner.parts:
                parts.append(inner)
        else:
            _add_several(each, list(value), items, parts, columns.get(each, ()), within)
    return Section(title=title, name=name, items=tuple(items), parts=tuple(parts))


def _in_its_unit(name: str, record: Any) -> Any:
    """Return a mapping whose own name says the unit of all that is in it (``size_mm``) with the unit at each name."""
    ending = unit_ending(name)
    return (
        {f"{each}{ending}": value for each, value in record.items()}
        if ending and isinstance(record, Mapping)
        else record
    )


def is_record(value: Any) -> bool:
    """Tell whether a value has named fields."""
    return isinstance(value, Mapping) or (is_dataclass(value) and not isinstance(value, type))


def _add_several(
    name: str,
    values: list[Any],
    items: list[Item],
    parts: list[Section | Table],
    columns: Sequence[str],
    within: str,
) -> None:
    if all(is_simple(one) for one in values):
        cells = tuple(written(_one(name), one) for one in values) or (written(name, None),)
        items.append(Item(label=label_of(name), cells=cells))
    elif all(is_record(one) for one in values) and (columns or all(_is_flat(one) for one in values)):
        parts.append(table_of(values, title=label_of(name), name=name, columns=columns, within=within))
    else:
        for place, one in enumerate(values, start=1):
            title = f"{label_of(name)} {place}"
            inner = one if is_record(one) else {"values": one}
            parts.append(section_of(inner, title=title, name=name, within=f"{within}{title}: "))


def _one(name: str) -> str:
    return name.removesuffix("s") if not name.endswith("_s") else name


def _is_flat(record: Any) -> bool:
    values = plain_mapping(record).values()
    return all(is_simple(one) or (_is_list(one) and all(is_simple(each) for each in one)) for one in values)


def _is_list(value: Any) -> bool:
    return isinstance(value, list | tuple | set | frozenset)


def table_of(
    records: Sequence[Any], *, title: str = "", name: str = "", columns: Sequence[str] = (), within: str = ""
) -> Table:
    """Return records as a table; `columns` chooses and orders those that exist, else all that are not empty."""
    mappings = [plain_mapping(one) for one in records]
    names = list(dict.fromkeys(each for one in mappings for each in one))
    chosen = [each for each in columns if each in names] if columns else _worth_showing(names, mappings)
    rows = tuple(tuple(_cells(each, one.get(each)) for each in chosen) for one in mappings)
    numeric = tuple(
        bool(rows)
        and all(row[place][-1].kind in {"number", "nothing"} for row in rows)
        and any(row[place][-1].kind == "number" for row in rows)
        for place in range(len(chosen))
    )
    return Table(
        title=title,
        name=name,
        label=f"{within}{title}",
        columns=tuple(label_of(each) for each in chosen),
        numeric=numeric,
        rows=rows,
    )


def linked(table: Table, subject: str) -> Table:
    """Return a list of records of one kind with its first column leading to their pages."""
    rows = tuple(((_to_page(row[0][0], subject),), *row[1:]) if row else row for row in table.rows)
    return replace(table, rows=rows)


def _to_page(cell: Cell, subject: str) -> Cell:
    return cell if cell.link or cell.kind == "nothing" else replace(cell, kind="code", link=f"/{subject}/{cell.text}")


def _cells(name: str, value: Any) -> tuple[Cell, ...]:
    if is_simple(value):
        return (written(name, value),)
    if _is_list(value) and all(is_simple(one) for one in value):
        return tuple(written(_one(name), one) for one in value) or (written(name, None),)
    if is_record(value):
        inner = plain_mapping(value)
        return tuple(
            Cell(text=f"{label_of(each)}: {written(each, one).text}") for each, one in inner.items() if is_simple(one)
        ) or (written(name, None),)
    return (Cell(text=str(len(value)), kind="number"),)


def _worth_showing(names: list[str], mappings: list[Mapping[str, Any]]) -> list[str]:
    filled = [each for each in names if each != "version" and any(_filled(one.get(each)) for one in mappings)]
    return filled or [each for each in names if each != "version"]


def _filled(value: Any) -> bool:
    return value is not None and value not in ("", (), [])
