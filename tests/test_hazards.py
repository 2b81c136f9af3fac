"""The hazard list: every hazard the house must stand against has a row, and every row has tests that exist."""

from __future__ import annotations

import ast
import tomllib
from collections import Counter
from functools import cache
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[1]
ROWS: list[dict[str, Any]] = tomllib.loads((ROOT / "fixtures" / "hazards.toml").read_text(encoding="utf-8"))["hazards"]

REQUIRED = {
    "tenfold-slip",
    "unit-slip",
    "daily-for-weekly",
    "pound-for-kilogram",
    "stale-weight",
    "wrong-patient",
    "look-alike-names",
    "mix-up-on-the-plate",
    "mix-up-in-the-wash",
    "mix-up-at-break-off",
    "mix-up-in-the-pack",
    "wrong-resin",
    "blocked-resin",
    "expired-resin",
    "aged-resin-in-the-tank",
    "carry-over",
    "strength-not-of-the-lot",
    "strength-not-of-the-finished-unit",
    "drug-lost-to-the-wash-or-bound",
    "wrong-profile-or-layer",
    "wrong-printer",
    "half-printed-plate-reused",
    "washed-too-long-or-too-short",
    "wet-units-cured-or-weighed",
    "uncured-units",
    "residues-in-a-child",
    "size-changes-release",
    "wrong-release-class",
    "unit-too-large",
    "expiry-before-the-course-ends",
    "label-on-the-wrong-pack",
    "supply-before-release",
    "supply-after-stop",
    "supply-twice",
    "altered-record",
    "job-run-twice",
}
"""The hazards that the design names; the list may say more."""

FIELDS = ("id", "hazard", "cause", "control", "tests")


@cache
def those_in(path: str) -> frozenset[str]:
    """Return the tests that stand in a file of ours, read and not run; nothing for a file that is not there."""
    file = ROOT / path
    if not file.is_file():
        return frozenset()
    return frozenset(names_in(ast.parse(file.read_text(encoding="utf-8")).body, ""))


def names_in(body: list[ast.stmt], prefix: str) -> list[str]:
    """Return the names by which pytest would call the tests of a module or class."""
    found: list[str] = []
    for node in body:
        if isinstance(node, ast.ClassDef):
            found += names_in(node.body, f"{prefix}{node.name}::")
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_") and asserts(node):
            found.append(prefix + node.name)
    return found


def asserts(test: ast.FunctionDef) -> bool:
    """Say whether a test can fail at all: it asserts, expects an error, or calls evidence that does."""
    return any(
        isinstance(node, ast.Assert)
        or (isinstance(node, ast.Attribute) and node.attr == "raises")
        or (isinstance(node, ast.Expr) and isinstance(node.value, ast.Call))
        for node in ast.walk(test)
    )


def faults(rows: list[dict[str, Any]], required: set[str]) -> list[str]:
    """Return everything that is wrong with a list of hazards."""
    counts = Counter(row.get("id", "") for row in rows)
    found = [f"{one}: twice in the list" for one, count in counts.items() if count > 1]
    found += [f"{one}: is not in the list" for one in sorted(required - set(counts))]
    for row in rows:
        name = row.get("id", "?")
        found += [f"{name}: says nothing under {field}" for field in FIELDS if not row.get(field)]
        found += [f"{name}: {field} is no field" for field in sorted(set(row) - set(FIELDS))]
        for test in row.get("tests", []):
            path, _, inside = test.partition("::")
            if not path.startswith("tests/") or inside not in those_in(path):
                found.append(f"{name}: there is no test {test}")
        if len(set(row.get("tests", []))) != len(row.get("tests", [])):
            found.append(f"{name}: names a test twice")
    return found


def test_every_hazard_has_a_control_and_tests_that_exist() -> None:
    assert faults(ROWS, REQUIRED) == []


GOOD: dict[str, Any] = {
    "id": "one",
    "hazard": "a harm",
    "cause": "a slip",
    "control": "a guard",
    "tests": ["tests/test_hazards.py::test_a_list_that_is_wrong_is_found_out"],
}


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ([GOOD, GOOD], "one: twice in the list"),
        ([GOOD | {"id": "other"}], "one: is not in the list"),
        ([GOOD | {"tests": []}], "one: says nothing under tests"),
        ([GOOD | {"control": ""}], "one: says nothing under control"),
        ([GOOD | {"severity": 3}], "one: severity is no field"),
        ([GOOD | {"tests": ["tests/test_hazards.py::test_x"]}], "one: there is no test tests/test_hazards.py::test_x"),
        ([GOOD | {"tests": ["tests/no_such_file.py::test_x"]}], "one: there is no test tests/no_such_file.py::test_x"),
        ([GOOD | {"tests": ["tests/test_hazards.py"]}], "one: there is no test tests/test_hazards.py"),
        ([GOOD | {"tests": GOOD["tests"] * 2}], "one: names a test twice"),
    ],
)
def test_a_list_that_is_wrong_is_found_out(rows: list[dict[str, Any]], says: str) -> None:
    assert says in faults(rows, {"one"})


def test_a_list_that_is_right_has_no_fault() -> None:
    assert faults([GOOD], {"one"}) == []


def test_a_test_that_cannot_fail_does_not_count() -> None:
    body = ast.parse("def test_nothing() -> None:\n    x = 1\n").body
    assert names_in(body, "") == []
