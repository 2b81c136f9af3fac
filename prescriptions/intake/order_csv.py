"""Orders as CSV: one row for each step, one header row, many orders in a file, told apart by `reference`.

The columns are `COLUMNS`, in any order; a column that is not needed may be left out, and no other is taken.
What holds for the whole order stands in its first row; further rows repeat it or leave it empty. Several
values of one cell are separated by ``|``. Cells are text: a dose is "2.5 mg", and no number is ever read as a
binary fraction. UTF-8, with or without byte order mark; comma or semicolon, whichever the header uses, never
both; quoting as in RFC 4180. A cell that a spreadsheet would take for a formula is refused.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, Final, NoReturn

from dosewright.ground.pure.errors import BadInput, Refusal
from prescriptions.intake.drafts import UNSENT, Draft, Intake, drafted
from prescriptions.intake.order_json import MOST_ORDERS
from prescriptions.intake.reading import shown
from prescriptions.regimens import MAX_STEPS

MOST_ROWS: Final = MOST_ORDERS * MAX_STEPS
FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\N{FULLWIDTH EQUALS SIGN}")
"""Beginnings that spreadsheets take for a formula (OWASP, CSV Injection; from memory, to be confirmed)."""

_AMOUNT: Final = re.compile(r"(?P<value>\S+) +(?P<unit>\S+)")
_COUNT: Final = re.compile(r"[0-9]{1,6}")
_SAID: Final = {"yes": True, "no": False}


def _text(cell: str) -> Any:
    return cell


def _list(cell: str) -> Any:
    return [part.strip() for part in cell.split("|")]


def _count(cell: str) -> Any:
    return Decimal(cell) if _COUNT.fullmatch(cell) else cell


def _said(cell: str) -> Any:
    return _SAID.get(cell, cell)


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column: its place in the order JSON ("" where several columns make one value) and what it takes."""

    name: str
    path: str
    takes: str
    read: Callable[[str], Any] = _text
    of_step: bool = False


def _of_order(name: str, path: str, takes: str, read: Callable[[str], Any] = _text) -> Column:
    return Column(name=name, path=path, takes=takes, read=read)


def _of_step(name: str, path: str, takes: str, read: Callable[[str], Any] = _text) -> Column:
    return Column(name=name, path=path, takes=takes, read=read, of_step=True)


_YES_NO: Final = "yes, no; empty for not recorded"

COLUMNS: Final = (
    _of_order("reference", "reference", "the sender's own number of the order, in every row"),
    _of_order("patient_code", "patient.code", "a patient of this site; then no other column of the patient"),
    _of_order("identifier_system", "patient.identifier.system", "whose number the next column is"),
    _of_order("identifier_value", "patient.identifier.value", "the patient's number"),
    _of_order("family_name", "patient.family_name", "text"),
    _of_order("given_name", "patient.given_name", "text"),
    _of_order("birth_date", "patient.birth_date", "2019-05-04"),
    _of_order("sex", "patient.sex", "female, male, other, unknown"),
    _of_order("weight", "patient.weight", "20.5 kg (kg or g)"),
    _of_order("weighed_on", "patient.weight.measured_on", "2026-02-27"),
    _of_order("height", "patient.height", "115 cm (cm, m or mm)"),
    _of_order("height_on", "patient.height.measured_on", "2026-02-27"),
    _of_order("allergies_status", "patient.allergies.status", "none, listed, not recorded"),
    _of_order("allergies", "patient.allergies.entries", "penicillin, rash | latex", _list),
    _of_order("swallowing", "patient.swallowing", "solids, mini-units only, no solids, not assessed"),
    _of_order("feeding_tube", "patient.feeding_tube", _YES_NO, _said),
    _of_order("stricture", "patient.stricture", _YES_NO, _said),
    _of_order("pregnancy_possible", "patient.pregnancy_possible", _YES_NO, _said),
    _of_order("largest_unit_mm", "patient.largest_unit_mm", "8"),
    _of_order("substance", "substance", "hydrocortisone"),
    _of_order("release", "release", "immediate, prolonged"),
    _of_order("route", "route", "oral"),
    _of_order("reason", "reason", "why a licensed product will not do"),
    _of_order("indication", "indication", "text"),
    _of_order("sender_words", "sender_words", "what the sender wrote besides, for whoever signs and checks"),
    _of_order("legal_basis", "legal_basis", "text"),
    _of_order("prescriber", "prescriber.registration", "the prescriber's registration"),
    _of_order("ready_by", "ready_by", "2026-03-09T15:00:00+00:00"),
    _of_order("supply_days", "supply_days", "14: the most days of one supply", _count),
    _of_order("repeats_order", "repeats.order", "the code of the order that is repeated"),
    _of_order("repeats_reference", "repeats.reference", "or the sender's own number of it"),
    _of_order("repeats_change", "repeats.change", "what changed; empty for nothing but the dates"),
    _of_step("dose", "dose", "2.5 mg (ug, mg, g; per kg or m2: 2 mg/kg)"),
    _of_step("max_dose", "max_dose", "the most one calculated dose may be, as 10 mg"),
    _of_step("times", "times", "07:00 | 13:00", _list),
    _of_step("slots", "slots", "with breakfast | at bedtime", _list),
    _of_step("as_needed_interval", "as_needed.least_interval", "6 h"),
    _of_step("as_needed_most_per_day", "as_needed.most_per_day", "4", _count),
    _of_step("as_needed_reason", "as_needed.reason", "pain"),
    _of_step("every_n_days", "every_n_days", "2", _count),
    _of_step("weekdays", "weekdays", "monday | thursday", _list),
    _of_step("start_date", "start_date", "2026-03-10"),
    _of_step("days", "days", "28", _count),
    _of_step("stop_date", "stop_date", "or the last day, included"),
)
NAMES: Final = tuple(one.name for one in COLUMNS)
_BY_NAME: Final = {one.name: one for one in COLUMNS}


@dataclass(slots=True, kw_only=True)
class _Rows:
    """The rows of one order, with what is wrong in them."""

    reference: str
    rows: list[tuple[int, dict[str, str]]] = field(default_factory=list)
    refusals: list[Refusal] = field(default_factory=list)

    def gathered(self) -> dict[str, tuple[int, str]]:
        """Return what holds for the whole order, with the line of each value; note contradictions between rows."""
        found: dict[str, tuple[int, str]] = {}
        for line, row in self.rows:
            for name, cell in row.items():
                if _BY_NAME[name].of_step or not cell:
                    continue
                first, known = found.setdefault(name, (line, cell))
                if known != cell:
                    self._contradict(line, name, cell, first=first, known=known)
        return found

    def _contradict(self, line: int, name: str, cell: str, *, first: int, known: str) -> None:
        message = f"another value stands in line {first}, of the same order"
        accepted = f"{shown(known)}, or an empty cell"
        where = f"line {line}, {name}"
        self.refusals.append(
            Refusal(field=where, message=message, value=shown(cell), accepted=accepted, rule="contradiction")
        )


def template_csv() -> bytes:
    """Return the empty template: the header row of all columns, as UTF-8 with byte order mark."""
    return ("\ufeff" + ",".join(NAMES) + "\r\n").encode()


def read_csv(data: bytes, *, today: date, source: str = UNSENT) -> Intake:
    """Return each order of a CSV text, read or refused, in the order in which they begin.

    Raises BadInput for a text that is no such file: encoding, header, quoting, too many rows or orders.
    """
    text = _decoded(data)
    delimiter = _delimiter(text)
    orders: dict[str | int, _Rows] = {}
    for line, row, refusals in _rows(text, delimiter):
        reference = row["reference"]
        one = orders.setdefault(reference or line, _Rows(reference=reference or f"line {line}"))
        one.rows.append((line, row))
        one.refusals.extend(refusals)
    if not orders:
        _refuse("body", "there is no order below the header", accepted="at least one row", rule="empty")
    if len(orders) > MOST_ORDERS:
        _refuse("body", "there are too many orders", value=str(len(orders)), accepted=f"at most {MOST_ORDERS}")
    drafts = tuple(_draft(one, today=today, source=source) for one in orders.values())
    return Intake(form="csv", drafts=drafts, delimiter=delimiter)


def _draft(rows: _Rows, *, today: date, source: str) -> Draft:
    cells = rows.gathered()
    places = {path: f"line {line}{name and ', '}{name}" for path, line, name in _places(rows, cells)}
    order, steps = _order_json(cells), [_step_json(row) for _, row in rows.rows]
    draft = Draft(
        reference=rows.reference,
        source=source,
        lines=tuple(line for line, _ in rows.rows),
        places={"": f"line {rows.rows[0][0]}", **places},
        refusals=tuple(rows.refusals),
        whole_cells=True,
    )
    return draft if rows.refusals else drafted(draft, order | {"regimen": {"steps": steps}}, today=today)


def _places(rows: _Rows, cells: Mapping[str, tuple[int, str]]) -> Iterator[tuple[str, int, str]]:
    first = rows.rows[0][0]
    for column in COLUMNS:
        if not column.of_step:
            yield column.path, cells.get(column.name, (first, ""))[0], column.name
            continue
        for index, (line, _) in enumerate(rows.rows):
            yield f"regimen.steps[{index}].{column.path}", line, column.name
    for index, (line, _) in enumerate(rows.rows):
        yield f"regimen.steps[{index}]", line, ""
        yield f"regimen.steps[{index}].as_needed", line, "as_needed_interval"
    for path, name in (("patient.identifier", "identifier_value"), ("patient.allergies", "allergies_status")):
        yield path, cells.get(name, (first, ""))[0], name


def _order_json(cells: Mapping[str, tuple[int, str]]) -> dict[str, Any]:
    order: dict[str, Any] = {"patient": {}}
    for name, (_, cell) in cells.items():
        column = _BY_NAME[name]
        if column.path in {"patient.weight", "patient.height"}:
            _put(order, f"{column.path}.value", _amount(cell)[0])
            _put(order, f"{column.path}.unit", _amount(cell)[1])
        else:
            _put(order, column.path, column.read(cell))
    return order


def _step_json(row: Mapping[str, str]) -> dict[str, Any]:
    step: dict[str, Any] = {}
    for name, cell in row.items():
        column = _BY_NAME[name]
        if column.of_step and cell:
            _put(step, column.path, column.read(cell))
    return step


def _put(into: dict[str, Any], path: str, value: Any) -> None:
    *parents, last = path.split(".")
    for name in parents:
        into = into.setdefault(name, {})
    into[last] = value


def _amount(cell: str) -> tuple[str, str]:
    match = _AMOUNT.fullmatch(cell)
    return (match["value"], match["unit"]) if match else (cell, "")


def _decoded(data: bytes) -> str:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        found = data[error.start : error.end].hex(" ")
        _refuse("body", f"no UTF-8 at byte {error.start}", value=found, accepted="UTF-8", rule="no-utf-8")
    if "\0" in text:
        _refuse("body", "the text holds NUL", accepted="text", rule="text")
    return text


def _delimiter(text: str) -> str:
    header = text.partition("\n")[0].strip("\r")
    found = [mark for mark in (",", ";") if mark in header]
    if len(found) != 1:
        message = "the header uses comma and semicolon" if found else "the header uses neither comma nor semicolon"
        _refuse("line 1", message, value=shown(header), accepted="one of them between the columns", rule="delimiter")
    return found[0]


def _rows(text: str, delimiter: str) -> Iterator[tuple[int, dict[str, str], list[Refusal]]]:
    """Yield each row that is not empty with the line it begins on and the refusals of its cells."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    header: list[str] | None = None
    line = 1
    try:
        for cells in reader:
            begins, line = line, reader.line_num + 1
            tidy = [cell.strip(" ") for cell in cells]
            if header is None:
                header = _header(tidy)
            elif any(tidy):
                yield begins, *_row(begins, header, cells, tidy)
            if line > MOST_ROWS:
                _refuse("body", "there are too many rows", limit=str(MOST_ROWS), accepted=f"at most {MOST_ROWS}")
    except csv.Error as error:
        _refuse(f"line {reader.line_num}", f"no CSV: {error}", accepted="quoting as in RFC 4180", rule="no-csv")


def _header(cells: list[str]) -> list[str]:
    for name in cells:
        if name not in _BY_NAME:
            message = "a column has no name" if not name else "the column is not known here"
            _refuse("line 1", message, value=shown(name), accepted=", ".join(NAMES), rule="column")
        if cells.count(name) > 1:
            _refuse("line 1", "a column stands twice", value=name, accepted="each column once", rule="column")
    if "reference" not in cells:
        _refuse("line 1", "the column reference is missing", accepted=", ".join(NAMES), rule="column")
    return cells


def _row(line: int, header: list[str], cells: list[str], tidy: list[str]) -> tuple[dict[str, str], list[Refusal]]:
    refusals: list[Refusal] = []

    def refuse(where: str, message: str, **facts: str) -> None:
        refusals.append(Refusal(field=where, message=message, **facts))

    if len(cells) != len(header):
        message = "the row has more or fewer cells than the header"
        accepted = f"{len(header)} cells; a cell with the delimiter in it stands in double quotes"
        refuse(f"line {line}", message, value=str(len(cells)), limit=str(len(header)), accepted=accepted, rule="cells")
    for name, cell, inner in zip(header, cells, tidy, strict=False):
        if cell.startswith(FORMULA_STARTS) or inner.startswith(FORMULA_STARTS):
            message = "a spreadsheet would take this for a formula"
            accepted = "text that begins with a letter or a digit"
            refuse(f"line {line}, {name}", message, value=shown(cell), accepted=accepted, rule="formula")
    row = dict.fromkeys(NAMES, "") | dict(zip(header, tidy, strict=False))
    if not row["reference"]:
        refuse(f"line {line}, reference", "this is missing", accepted="the sender's own number", rule="missing")
    return row, refusals


def _refuse(place: str, message: str, **facts: str | None) -> NoReturn:
    raise BadInput.because(place, message, **facts)
