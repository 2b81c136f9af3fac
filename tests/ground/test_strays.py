"""Files of ended processes are cleared; a file that a row tells of, or that may be under way, never is."""

from __future__ import annotations

import errno
import os
import time
from pathlib import Path
from typing import Any

import pytest

from dosewright.ground import steps
from dosewright.ground.act import Act, act
from dosewright.ground.documents import make_document, write_file
from dosewright.ground.models import Document
from dosewright.ground.pure.roles import Role
from dosewright.ground.strays import WRITTEN_WITHIN_S, clear_strays
from tests.ground.small_site import NOON, small_site

pytestmark = pytest.mark.django_db


@pytest.fixture
def home(settings: Any, tmp_path: Path) -> Path:
    settings.DOSEWRIGHT_HOME = tmp_path
    return tmp_path


def aged(path: Path) -> Path:
    """Let a file be as old as one that nobody writes any more."""
    then = time.time() - WRITTEN_WITHIN_S - 1
    os.utime(path, (then, then))
    return path


def placed(path: Path) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"x")
    return path


def test_an_old_file_that_no_row_tells_of_is_cleared(home: Path) -> None:
    stray = aged(placed(home / "documents" / "label" / "S-00001-abc.pdf"))
    half = aged(placed(home / "print-files" / "PR-1" / ".part-1"))
    assert clear_strays() == 2
    assert not stray.exists()
    assert not half.exists()


def test_a_young_file_stays(home: Path) -> None:
    young = [placed(home / "documents" / "label" / name) for name in ("S-00001-abc.pdf", ".S-00002.pdf.1")]
    assert clear_strays() == 0
    assert all(path.exists() for path in young)


def fail_after_a_document() -> None:
    with act(small_site().actor(Role.TECHNICIAN), "document.make", at=NOON) as doing:
        sheet(doing)
        raise ZeroDivisionError


def sheet(doing: Act) -> Document:
    return make_document(
        doing,
        kind="weighing sheet",
        state=Document.ORIGINAL,
        subject_kind="resin lot",
        subject="RL-1",
        compose=lambda mark: {"number": mark.number},
        draw=lambda content: b"%PDF",
    )


def test_documents_and_plate_files_stay_however_old(home: Path) -> None:
    house = small_site()
    with act(house.actor(Role.TECHNICIAN), "document.make", at=NOON) as doing:
        document = sheet(doing)
    kept = [aged(home / document.path), aged(placed(home / "print-files" / "PR-1" / "abc.3mf"))]
    assert clear_strays() == 0
    assert all(path.exists() for path in kept)


def test_a_document_of_an_action_that_was_rolled_back_is_cleared(home: Path) -> None:
    with pytest.raises(ZeroDivisionError):
        fail_after_a_document()
    assert not Document.objects.exists()
    (left,) = (path for path in (home / "documents").rglob("*.pdf"))
    aged(left)
    assert clear_strays() == 1


def test_a_file_that_cannot_be_written_whole_leaves_no_half(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_room(handle: int) -> None:
        raise OSError(errno.ENOSPC, "no space left on device")

    monkeypatch.setattr(os, "fsync", no_room)
    with pytest.raises(OSError, match="no space"):
        write_file(home / "documents" / "x.pdf", b"whole")
    assert list((home / "documents").iterdir()) == []


def test_steps_do_nothing_where_none_is_armed(home: Path, settings: Any) -> None:
    settings.DOSEWRIGHT_STEPS = str(home / "steps")
    write_file(home / "documents" / "x.pdf", b"whole")
    assert (home / "documents" / "x.pdf").read_bytes() == b"whole"
    steps.at("file-half", ".pdf")
