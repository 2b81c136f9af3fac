"""`import_orders` with ``--json``: its contract, its exit codes, and that a second import changes nothing."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from dosewright.roof.demo.invented import invented_orders
from tests.contracts.conftest import Bench
from tests.contracts.running import Answer, holds
from tests.flows.tables import Tables
from tests.imports import example

TODAY = datetime.now(UTC).date()


def dated(name: str, folder: Path, **changes: str) -> Path:
    """Copy an example with its days counted from today, each of `changes` replaced."""
    data = example(name, TODAY)
    for old, new in changes.items():
        assert old.encode() in data
        data = data.replace(old.encode(), new.encode())
    path = folder / name
    path.write_bytes(data)
    return path


def bring(bench: Bench, path: Path, *more: str) -> Answer:
    return bench.manage("import_orders", str(path), "--as", "tomas.lind", *more, "--json")


@pytest.mark.parametrize(
    ("name", "form", "count"), [("orders_example.csv", "csv", 2), ("bundle_example.json", "fhir", 1)]
)
def test_a_second_import_changes_nothing(bench: Bench, tmp_path: Path, name: str, form: str, count: int) -> None:
    path = dated(name, tmp_path)
    first = bring(bench, path)
    assert first.code == 0, first
    assert holds("import_orders", first.document)
    document = first.document
    assert (document["form"], document["taken"], document["repeated"]) == (form, count, 0)
    assert {one["state"] for one in document["orders"]} == {"waiting"}
    before = Tables(bench.stack).counts()
    again = bring(bench, path)
    assert (again.code, again.document["taken"], again.document["repeated"]) == (0, 0, count)
    assert [one["code"] for one in again.document["orders"]] == [one["code"] for one in document["orders"]]
    assert Tables(bench.stack).counts() == before


def test_what_is_refused_is_told_order_by_order_and_by_the_exit_code(bench: Bench, tmp_path: Path) -> None:
    path = dated("orders_example.csv", tmp_path, **{"EXAMPLE-CSV": "EXAMPLE-BAD", "2 mg,": "2 Mg,"})
    answer = bring(bench, path)
    assert answer.code == 1
    assert holds("import_orders", answer.document)
    assert [bool(one["code"]) for one in answer.document["orders"]] == [False, True]
    (refused,) = answer.document["refused"]
    assert (refused["field"], refused["value"]) == ("line 3, dose", "Mg")
    assert "megagram" in refused["accepted"]
    assert answer.err == f"refused: line 3, dose: {refused['message']}. Accepted: {refused['accepted']}.\n"


def test_a_list_and_one_order_of_the_order_json(bench: Bench, tmp_path: Path) -> None:
    items: list[dict[str, Any]] = invented_orders(2, 77, TODAY)
    for one in items:
        one["prescriber"] = {"registration": "EXAMPLE-REG-7"}
    path = tmp_path / "orders.json"
    path.write_text(json.dumps(items), encoding="utf-8")
    many = bring(bench, path, "--source", "ward-4")
    assert (many.code, many.document["taken"]) == (0, 2), many
    path.write_text(json.dumps(items[0]), encoding="utf-8")
    one = bring(bench, path, "--source", "ward-4")
    assert (one.code, one.document["repeated"]) == (0, 1)
    elsewhere = bring(bench, path, "--source", "ward-5")
    assert (elsewhere.code, elsewhere.document["taken"]) == (0, 1)


@pytest.mark.parametrize(
    ("data", "rule"),
    [
        (b"", "form"),
        (b"<Bundle/>", "form"),
        (b"\xff\xfea", "no-utf-8"),
        (b"reference,dose\n", "empty"),
        (b"reference;dose,x\n1;2\n", "delimiter"),
        (b"[" * 100_000, "too-deep"),
        (b'{"a": 1, "a": 2}', "name-twice"),
        (b'[{"dose": NaN}]', "no-number"),
        (b'{"resourceType": "Patient"}', "resource"),
        (b"x" * 20_000_001, "too-long"),
    ],
)
def test_a_file_that_is_none_is_refused_whole(bench: Bench, tmp_path: Path, data: bytes, rule: str) -> None:
    path = tmp_path / "orders"
    path.write_bytes(data)
    refused = bring(bench, path).refused
    assert refused[0]["rule"] == rule
    assert refused[0]["accepted"]


def test_who_may_not_and_what_is_no_use(bench: Bench, tmp_path: Path) -> None:
    path = dated("orders_example.csv", tmp_path)
    assert bench.manage("import_orders", str(path), "--as", "otto.krug", "--json").refused[0]["field"] == "actor"
    assert bench.manage("import_orders", str(path), "--as", "nobody", "--json").refused[0]["field"] == "user"
    for arguments in ((str(path),), (str(tmp_path / "none"), "--as", "tomas.lind"), ("--as", "tomas.lind")):
        answer = bench.manage("import_orders", *arguments, "--json")
        assert (answer.code, answer.out) == (2, ""), answer
