"""The folder plate files are kept in: named by what they hold, written whole or not at all, read back at once."""

from __future__ import annotations

import os
import re
import tempfile
from dataclasses import dataclass
from pathlib import Path

from dosewright.ground import steps
from dosewright.ground.pure.canonical import digest_of
from dosewright.ground.pure.errors import BadInput, Conflict, NotThere

_SUFFIX = re.compile(r"\.[a-z0-9]{1,8}")
_NAME = re.compile(r"[0-9a-f]{64}\.[a-z0-9]{1,8}")


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredFile:
    """Where a file lies: its name within the folder, its SHA-256 and its size [bytes]."""

    name: str
    sha256: str
    size: int


def store_bytes(folder: Path, data: bytes, suffix: str) -> StoredFile:
    """Write `data` into `folder` under its hash, atomically, and compare what can be read afterwards.

    Twice the same data is one file. Raises BadInput for a suffix other than ".abc", Conflict when what is
    read back differs (a damaged disk or a tampered file).
    """
    if not _SUFFIX.fullmatch(suffix):
        raise BadInput.because("suffix", "not a file suffix", value=suffix[:20], accepted="like .3mf")
    digest = digest_of(data)
    stored = StoredFile(name=digest + suffix, sha256=digest, size=len(data))
    target = folder / stored.name
    folder.mkdir(parents=True, exist_ok=True)
    if not target.exists():
        _write_whole(folder, target, data)
    load_bytes(folder, stored)
    return stored


def load_bytes(folder: Path, stored: StoredFile) -> bytes:
    """Return the file's bytes; raises NotThere when it is gone, Conflict when it is not what was stored."""
    if not _NAME.fullmatch(stored.name):
        raise BadInput.because("name", "not a stored file's name", value=stored.name[:80])
    try:
        data = (folder / stored.name).read_bytes()
    except FileNotFoundError as problem:
        raise NotThere.because("file", "the stored file is gone", value=stored.name) from problem
    found = digest_of(data)
    if found != stored.sha256 or len(data) != stored.size:
        raise Conflict.because("file", "the stored file is not what was written", value=found, limit=stored.sha256)
    return data


def _write_whole(folder: Path, target: Path, data: bytes) -> None:
    handle, name = tempfile.mkstemp(prefix=".part-", dir=folder)
    try:
        with os.fdopen(handle, "wb") as part:
            part.write(data)
            steps.at("file-half", target.suffix)
            part.flush()
            os.fsync(part.fileno())
        steps.at("file-whole", target.suffix)
        os.replace(name, target)
        steps.at("file-named", target.suffix)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    _sync_folder(folder)


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
