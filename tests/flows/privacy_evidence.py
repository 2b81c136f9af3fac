"""Where a patient's name stands: where patients are kept and on what goes out with a pack, and nowhere else."""

from __future__ import annotations

import io
import sqlite3
import zipfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from tests.flows.living import Home
from tests.flows.ordering import FAMILY_NAME, GIVEN_NAME, NUMBER

NAMES = (FAMILY_NAME.lower(), GIVEN_NAME.lower(), NUMBER.lower())
KEPT_IN = frozenset({"prescriptions_patient", "prescriptions_patientidentifier"})


def check_no_names(home: Home, folder: Path) -> None:
    """No row outside the patients' own tables, no log line, no plate file holds name or number."""
    kept = [row for table, row in home.tables.texts(but=frozenset()) if table in KEPT_IN]
    assert any(name in row.lower() for row in kept for name in NAMES), "the search would not find a name"
    for table, row in home.tables.texts(but=KEPT_IN):
        assert _named(row.encode()) == [], (table, row[:800])
    searched = 0
    for path, data in _files(home):
        assert _named(data) == [], path
        searched += 1
    assert searched >= 4, "logs, plate file and its parts were searched"
    if home.tables.path.exists():
        assert _named(_database_without_patients(home, folder / "purged.sqlite3")) == []


def _named(data: bytes) -> list[str]:
    low = data.lower()
    return [name for name in NAMES if name.encode() in low]


def _files(home: Home) -> Iterator[tuple[str, bytes]]:
    """Yield every file of home and logs, unpacked where it is packed; the documents and the database aside."""
    for root in (home.path, home.logs):
        for path in sorted(root.rglob("*")):
            inside = path.relative_to(root).parts
            if not path.is_file() or inside[0] == "documents" or path.name.startswith("dosewright.sqlite3"):
                continue
            data = path.read_bytes()
            yield str(path), data
            if zipfile.is_zipfile(io.BytesIO(data)):
                with zipfile.ZipFile(io.BytesIO(data)) as package:
                    for name in package.namelist():
                        yield f"{path}/{name}", package.read(name)


def _database_without_patients(home: Home, path: Path) -> bytes:
    """Return the bytes of a copy from which the patients' own rows were purged, indexes and all."""
    with closing(sqlite3.connect(home.tables.path)) as live, closing(sqlite3.connect(path)) as copy:
        live.backup(copy)
        copy.isolation_level = None
        copy.execute("PRAGMA foreign_keys=OFF")
        for table in KEPT_IN:
            copy.execute(f"DELETE FROM {table}")
        copy.execute("VACUUM")
    return path.read_bytes()
