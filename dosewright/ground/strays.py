"""Clears what an ended process left in the folders of files: hidden halves, and documents that no row tells of.

A document's file is on the disk before its row is committed, so that no row is ever without its file; a process
that ends in between leaves a file that nobody can reach, which may name a patient.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Iterator
from pathlib import Path

from django.conf import settings

from dosewright.ground.models import Document

log = logging.getLogger(__name__)
FOLDERS = ("documents", "print-files")
WRITTEN_WITHIN_S = 3600
"""No transaction that writes a file lasts nearly as long (judgement, no source)."""


def clear_strays() -> int:
    """Remove strays that are older than any write under way; return how many."""
    home = Path(settings.DOSEWRIGHT_HOME)
    strays = [*_halves(home), *_untold(home)]
    for path in strays:
        path.unlink(missing_ok=True)
    if strays:
        log.warning("files of ended processes cleared", extra={"files": len(strays)})
    return len(strays)


def _halves(home: Path) -> Iterator[Path]:
    for folder in FOLDERS:
        yield from (path for path in _old_files(home / folder) if path.name.startswith("."))


def _untold(home: Path) -> Iterator[Path]:
    old = [path for path in _old_files(home / "documents") if not path.name.startswith(".")]
    if not old:
        return
    told = set(Document.objects.values_list("path", flat=True).iterator(chunk_size=2000))
    yield from (path for path in old if str(path.relative_to(home)) not in told)


def _old_files(folder: Path) -> Iterator[Path]:
    before = time.time() - WRITTEN_WITHIN_S
    for path in folder.rglob("*"):
        if path.is_file() and path.stat().st_mtime < before:
            yield path
