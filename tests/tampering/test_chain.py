"""Every attack on chain, head, looks, signatures and triggers is found and located, here and offline alike."""

from __future__ import annotations

import ast
import json
from pathlib import Path

import pytest
from django.db import connection

from dosewright.ground.offline_verifier import Unreadable, verify_lines
from tests.tampering.attacks import (
    ATTACKS,
    OFFLINE,
    UNREADABLE,
    anchors_now,
    attacked,
    dropped,
    emptied,
    faults_alone,
    faults_in_place,
    small_record,
    tried,
)

pytestmark = pytest.mark.django_db


def test_every_attack_is_found_and_located_by_both(tmp_path: Path) -> None:
    small_record()
    attacks = (*ATTACKS, UNREADABLE, dropped("sqlite"), emptied("sqlite"))
    for number, attack in enumerate(attacks):
        found = tried(attack, tmp_path, number=number)
        assert found["told"], found
        assert found["offline"] == found["here"], found
    assert connection.vendor == "sqlite"
    assert faults_in_place(anchors_now(), tmp_path / "after") == [], "an attack was not undone"


def test_an_untouched_record_has_no_fault_and_its_anchors_are_met(tmp_path: Path) -> None:
    small_record()
    export = tmp_path / "export"
    anchors = anchors_now()
    assert faults_in_place(anchors, export) == []
    assert faults_alone(anchors, export) == (0, [])
    assert export.stat().st_mode & 0o777 == 0o600
    wrong = {site: [(length, "0" * 64)] for site, ((length, _),) in anchors.items()}
    assert faults_alone(wrong, export) == (
        1,
        [f"{site} entry 8: is not the entry that was anchored outside" for site in wrong],
    )
    elsewhere = {"HC-NONE": [(1, "0" * 64)]}
    assert faults_alone(elsewhere, export)[0] == 1


def test_the_one_file_alone_finds_what_was_done_and_refuses_what_is_no_export(tmp_path: Path) -> None:
    small_record()
    anchors = anchors_now()
    (deleted,) = (one for one in ATTACKS if one.name == "delete an entry")
    with attacked(deleted.statements):
        here = faults_in_place(anchors, tmp_path / "export")
    assert here
    assert faults_alone(anchors, tmp_path / "export") == (1, here)
    (tmp_path / "other").write_text("no export\n", encoding="utf-8")
    assert faults_alone({}, tmp_path / "other")[0] == 2
    assert faults_alone({}, tmp_path / "not there")[0] == 2


def refused(lines: list[str]) -> bool:
    """Say whether lines of an export are refused as such: as cut or changed, or as none at all."""
    try:
        return any(one.where == "export" for one in verify_lines(lines).faults)
    except Unreadable:
        return True


def test_an_export_that_was_changed_afterwards_is_not_taken(tmp_path: Path) -> None:
    small_record()
    export = tmp_path / "export"
    faults_in_place({}, export)
    lines = export.read_text(encoding="utf-8").splitlines(keepends=True)
    assert verify_lines(lines).faults == []
    for number in range(1, len(lines) - 1):
        assert refused([*lines[:number], *lines[number + 1 :]]), number
    assert [one.where for one in verify_lines(lines[:-1]).faults] == ["export"]
    assert [one.where for one in verify_lines([*lines, lines[-2]]).faults] == ["export"]
    for spoilt in (lines[1:], ["{}\n"], ["no record\n"], [*lines[:2], '{"is":"entry"}\n']):
        with pytest.raises(Unreadable):
            verify_lines(spoilt)
    newer = json.loads(lines[0]) | {"format": 2}
    with pytest.raises(Unreadable, match="format 2"):
        verify_lines([json.dumps(newer) + "\n", *lines[1:]])


def test_an_export_never_takes_the_place_of_a_file(tmp_path: Path) -> None:
    small_record()
    (tmp_path / "there").write_text("kept", encoding="utf-8")
    with pytest.raises(FileExistsError):
        faults_in_place({}, tmp_path / "there")
    assert [one.name for one in tmp_path.iterdir()] == ["there"]
    assert (tmp_path / "there").read_text(encoding="utf-8") == "kept"


def test_the_offline_verifier_is_one_file_that_an_older_python_reads() -> None:
    tree = ast.parse(OFFLINE.read_text(encoding="utf-8"), feature_version=(3, 8))
    imported = {
        name.name if isinstance(node, ast.Import) else str(node.module)
        for node in ast.walk(tree)
        if isinstance(node, ast.Import | ast.ImportFrom)
        for name in node.names
    }
    assert imported == {"__future__", "argparse", "collections.abc", "hashlib", "json", "sys", "typing"}
