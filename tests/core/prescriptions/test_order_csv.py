"""Orders as CSV: what is taken exactly, and what is refused with its line and column."""

from __future__ import annotations

import csv
import io
import json
from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dosewright.ground.pure.errors import BadInput
from prescriptions.intake.drafts import Draft, Intake
from prescriptions.intake.files import read_file
from prescriptions.intake.order_csv import COLUMNS, NAMES, read_csv, template_csv
from prescriptions.intake.order_json import ORDER_NAMES, read_order
from prescriptions.intake.patient_json import PATIENT_NAMES
from prescriptions.intake.regimen_json import STEP_NAMES
from tests.imports import EXAMPLES, WRITTEN_ON, example

CSV = example("orders_example.csv").decode()


def read(text: str | bytes) -> Intake:
    """Read a CSV text on the day the example was written."""
    return read_csv(text.encode() if isinstance(text, str) else text, today=WRITTEN_ON)


def row(**cells: str) -> Draft:
    """Read one order of one step, its cells changed."""
    usual = {
        "reference": "R-1",
        "patient_code": "PA-23456789",
        "substance": "hydrocortisone",
        "release": "immediate",
        "route": "oral",
        "reason": "invented",
        "prescriber": "EXAMPLE-REG-7",
        "dose": "2.5 mg",
        "times": "07:00",
        "start_date": "2026-03-10",
        "days": "28",
    }
    whole = {name: cell for name, cell in (usual | cells).items() if cell}
    out = io.StringIO()
    writer = csv.DictWriter(out, fieldnames=list(whole), lineterminator="\r\n")
    writer.writeheader()
    writer.writerow(whole)
    (draft,) = read(out.getvalue()).drafts
    return draft


def test_rows_of_one_reference_are_the_steps_of_one_order() -> None:
    intake = read(CSV)
    assert (intake.form, intake.delimiter, intake.whole) == ("csv", ",", False)
    first, second = (draft.request for draft in intake.drafts)
    assert first is not None
    assert second is not None
    assert [step.dose.value_mg for step in first.regimen.steps] == [Decimal(3), Decimal(2), Decimal("1.75")]
    assert [draft.lines for draft in intake.drafts] == [(2, 3, 4), (5,)]
    assert second.regimen.steps[0].cap_mg == 10
    assert second.patient.allergies.entries == ("penicillin, rash as an infant", "latex")  # type: ignore[union-attr]


def test_a_csv_order_is_the_same_request_as_its_json() -> None:
    order = {
        "reference": "R-1",
        "patient": {"code": "PA-23456789"},
        "substance": "hydrocortisone",
        "release": "immediate",
        "route": "oral",
        "reason": "invented",
        "prescriber": {"registration": "EXAMPLE-REG-7"},
        "regimen": {"steps": [{"dose": "2.5 mg", "times": ["07:00"], "start_date": "2026-03-10", "days": Decimal(28)}]},
    }
    assert row().request == read_order(order, today=WRITTEN_ON)


TIMINGS = [
    ({"times": "", "slots": "with breakfast | at bedtime"}, {"slots": ["with breakfast", "at bedtime"]}),
    ({"every_n_days": "2"}, {"every_n_days": Decimal(2)}),
    ({"weekdays": "monday | thursday"}, {"weekdays": ["monday", "thursday"]}),
    (
        {"times": "", "as_needed_interval": "6 h", "as_needed_most_per_day": "4", "as_needed_reason": "pain"},
        {"as_needed": {"least_interval": "6 h", "most_per_day": Decimal(4), "reason": "pain"}},
    ),
    ({"days": "", "stop_date": "2026-04-06"}, {"days": None, "stop_date": "2026-04-06"}),
]


@pytest.mark.parametrize(("cells", "step"), TIMINGS, ids=[json.dumps(one[0]) for one in TIMINGS])
def test_every_timing_is_that_of_the_order_json(cells: dict[str, str], step: dict[str, object]) -> None:
    usual = {"dose": "2.5 mg", "times": ["07:00"], "start_date": "2026-03-10", "days": Decimal(28)}
    if "slots" in step or "as_needed" in step:
        del usual["times"]
    request = row(**cells).request
    order = {
        "reference": "R-1",
        "patient": {"code": "PA-23456789"},
        "substance": "hydrocortisone",
        "release": "immediate",
        "route": "oral",
        "reason": "invented",
        "prescriber": {"registration": "EXAMPLE-REG-7"},
        "regimen": {"steps": [{name: value for name, value in (usual | step).items() if value is not None}]},
    }
    assert request is not None
    assert request == read_order(order, today=WRITTEN_ON)


CELLS = [
    ({"dose": "2,5 mg"}, "dose", "number"),
    ({"dose": "2.5"}, "dose", "unit"),
    ({"dose": "2.5 Mg"}, "dose", "unit"),
    ({"dose": "1e1 mg"}, "dose", "number"),
    ({"dose": "0.1234567890123 mg"}, "dose", "digits"),
    ({"dose": "-2.5 mg"}, "dose", "formula"),
    ({"dose": '=2.5&" mg"'}, "dose", "formula"),
    ({"reason": "@invented"}, "reason", "formula"),
    ({"reason": "+invented"}, "reason", "formula"),
    ({"reason": "\tinvented"}, "reason", "formula"),
    ({"reason": "two\nlines"}, "reason", "text"),
    ({"substance": ""}, "substance", "missing"),
    ({"release": "slow"}, "release", "choice"),
    ({"route": "rectal"}, "route", "choice"),
    ({"times": "7:00"}, "times", "time"),
    ({"times": "07:00|"}, "times", "time"),
    ({"times": ""}, "times", "missing"),
    ({"days": "28.0"}, "days", "number"),
    ({"days": "28", "stop_date": "2026-04-06"}, "days", "end"),
    ({"start_date": "10.03.2026"}, "start_date", "date"),
    ({"max_dose": "10 mg"}, "max_dose", "cap"),
    ({"weekdays": "1"}, "weekdays", "choice"),
    ({"feeding_tube": "no"}, "feeding_tube", "name"),
    ({"ready_by": "2026-03-09"}, "ready_by", "moment"),
]


@pytest.mark.parametrize(("cells", "column", "rule"), CELLS, ids=[json.dumps(one[0]) for one in CELLS])
def test_a_cell_that_is_not_taken_is_named_with_its_line(cells: dict[str, str], column: str, rule: str) -> None:
    draft = row(**cells)
    assert draft.request is None
    assert (f"line 2, {column}", rule) in {(one.field, one.rule) for one in draft.refusals}, draft.refusals


STATED = [
    ("26.2 kg", "57.8 lb", "line 2, weight", "unit"),
    ("26.2 kg", "26.2", "line 2, weight", "unit"),
    ("26.2 kg", '"26,2 kg"', "line 2, weight", "number"),
    ("2017-05-04", "2027-05-04", "line 2, birth_date", "date"),
    (",female,", ",f,", "line 2, sex", "choice"),
    (",none,,", ",none,latex,", "line 2, allergies", "invalid"),
    ("solids,no,no", "solids,nein,no", "line 2, feeding_tube", "flag"),
    ("EX-1001", "", "line 2, identifier_value", "missing"),
    ("EXAMPLE-CSV-1,,,", "EXAMPLE-CSV-1,,EX-1009,", "line 3, identifier_value", "contradiction"),
]


@pytest.mark.parametrize(("old", "new", "field", "rule"), STATED, ids=[one[1] for one in STATED])
def test_what_holds_for_the_order_is_checked_too(old: str, new: str, field: str, rule: str) -> None:
    first, second = read(CSV.replace(old, new, 1)).drafts
    assert (field, rule) in {(one.field, one.rule) for one in first.refusals}, first.refusals
    assert second.request is not None


FILES = [
    (b"", "line 1", "delimiter"),
    (b"reference", "line 1", "delimiter"),
    (b"reference,dose;times\n", "line 1", "delimiter"),
    (b"reference,dose\n", "body", "empty"),
    (b"reference,dose\n,\n", "body", "empty"),
    (b"reference,dose,dose\n1,2,3\n", "line 1", "column"),
    (b"reference,Dose\n1,2\n", "line 1", "column"),
    (b"reference,\n1,2\n", "line 1", "column"),
    (b"dose,times\n1,2\n", "line 1", "column"),
    (b'reference,dose\n"1,2\n', "line 2", "no-csv"),
    (b'reference,dose\n"1"x,2\n', "line 2", "no-csv"),
    (b"reference,dose\n\xe4,2\n", "body", "no-utf-8"),
    ("reference,dose\n1,2\n".encode("utf-16"), "body", "no-utf-8"),
    (b"reference,dose\n\x001,2\n", "body", "text"),
]


@pytest.mark.parametrize(("data", "field", "rule"), FILES, ids=[repr(one[0][:24]) for one in FILES])
def test_a_text_that_is_no_such_file_is_refused_whole(data: bytes, field: str, rule: str) -> None:
    with pytest.raises(BadInput) as refused:
        read(data)
    (one,) = refused.value.refusals
    assert (one.field, one.rule) == (field, rule)
    assert one.accepted


def test_more_or_fewer_cells_than_columns_are_refused() -> None:
    for cells in ("EXAMPLE-CSV-1,x", CSV.splitlines()[2] + ",x"):
        lines = CSV.splitlines()
        lines[2] = cells
        first = read("\n".join(lines)).drafts[0]
        assert ("line 3", "cells") in {(one.field, one.rule) for one in first.refusals}


def test_too_many_orders_are_refused() -> None:
    rows = "\n".join(f"R-{number},1 mg" for number in range(1001))
    with pytest.raises(BadInput) as refused:
        read(f"reference,dose\n{rows}\n")
    assert refused.value.refusals[0].value == "1001"


def test_semicolons_byte_order_mark_and_windows_lines_change_nothing() -> None:
    rows = list(csv.reader(io.StringIO(CSV)))
    out = io.StringIO()
    csv.writer(out, delimiter=";", lineterminator="\r\n").writerows([*rows, [""] * len(rows[0])])
    other = read(b"\xef\xbb\xbf" + out.getvalue().encode())
    assert other.delimiter == ";"
    assert [one.request for one in other.drafts] == [one.request for one in read(CSV).drafts]


def test_the_template_reads_and_names_every_part_of_an_order() -> None:
    assert (EXAMPLES / "orders_template.csv").read_bytes() == template_csv()
    header = template_csv().decode("utf-8-sig").strip().split(",")
    assert tuple(header) == NAMES
    paths = {one.path for one in COLUMNS}
    for name in ORDER_NAMES:
        assert name == "regimen" or any(path.split(".")[0] == name for path in paths), name
    for name in PATIENT_NAMES:
        assert any(path.startswith(f"patient.{name}") for path in paths), name
    for name in STEP_NAMES:
        assert any(one.of_step and one.path.split(".")[0] == name for one in COLUMNS), name


@given(value=st.decimals(min_value="0.000001", max_value="999999", places=6, allow_nan=False, allow_infinity=False))
def test_no_digit_of_a_dose_is_lost(value: Decimal) -> None:
    request = row(dose=f"{value} mg").request
    assert request is not None
    assert request.regimen.steps[0].dose.value_mg == value


@given(data=st.binary(max_size=200) | st.text(alphabet='reference,;"\n\r=|doses \0', max_size=120).map(str.encode))
def test_whatever_comes_is_read_or_refused(data: bytes) -> None:
    try:
        intake = read_file(data, today=date(2026, 3, 2))
    except BadInput:
        return
    assert all((one.request is None) == bool(one.refusals) for one in intake.drafts)


def test_the_columns_are_documented_as_they_are() -> None:
    text = (EXAMPLES / "README.md").read_text(encoding="utf-8")
    documented = [line.split("`")[1] for line in text.splitlines() if line.startswith("| `") and line.count("|") >= 4]
    assert tuple(documented) == NAMES
