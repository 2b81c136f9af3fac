"""The folder of plate files: whole or not at all, named by content, damage found."""

from __future__ import annotations

import hashlib
import os
from dataclasses import replace
from pathlib import Path

import pytest

from dosewright.ground.pure.errors import BadInput, Conflict, NotThere
from printing.plates.files.store import load_bytes, store_bytes

DATA = b"a plate" * 1000


def test_a_file_is_named_by_what_it_holds(tmp_path: Path) -> None:
    stored = store_bytes(tmp_path / "new" / "folder", DATA, ".3mf")
    assert stored.sha256 == hashlib.sha256(DATA).hexdigest()
    assert stored.name == stored.sha256 + ".3mf"
    assert stored.size == len(DATA)
    assert (tmp_path / "new" / "folder" / stored.name).read_bytes() == DATA
    assert load_bytes(tmp_path / "new" / "folder", stored) == DATA


def test_twice_the_same_is_one_file_and_nothing_else_is_left(tmp_path: Path) -> None:
    assert store_bytes(tmp_path, DATA, ".3mf") == store_bytes(tmp_path, DATA, ".3mf")
    assert len(list(tmp_path.iterdir())) == 1


def test_a_changed_file_is_found(tmp_path: Path) -> None:
    stored = store_bytes(tmp_path, DATA, ".3mf")
    (tmp_path / stored.name).write_bytes(DATA[:-1] + b"!")
    with pytest.raises(Conflict):
        load_bytes(tmp_path, stored)
    with pytest.raises(Conflict):
        store_bytes(tmp_path, DATA, ".3mf")


def test_a_lost_file_is_said_to_be_lost(tmp_path: Path) -> None:
    stored = store_bytes(tmp_path, DATA, ".stl")
    (tmp_path / stored.name).unlink()
    with pytest.raises(NotThere):
        load_bytes(tmp_path, stored)


def test_a_write_that_fails_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(handle: int) -> None:
        raise OSError("no space left")

    monkeypatch.setattr(os, "fsync", broken)
    with pytest.raises(OSError, match="no space"):
        store_bytes(tmp_path, DATA, ".3mf")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("suffix", ["", "3mf", "./x", ".3mf/../../x", ".WAYTOOLONGSUFFIX"])
def test_suffixes_cannot_leave_the_folder(suffix: str, tmp_path: Path) -> None:
    with pytest.raises(BadInput):
        store_bytes(tmp_path, DATA, suffix)


def test_names_cannot_leave_the_folder(tmp_path: Path) -> None:
    stored = store_bytes(tmp_path, DATA, ".3mf")
    with pytest.raises(BadInput):
        load_bytes(tmp_path, replace(stored, name="../" + stored.name))
