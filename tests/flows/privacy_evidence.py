"""Where a patient's name stands: where patients are kept and on what goes out with a pack, and nowhere else."""

from __future__ import annotations

import io
import json
import sqlite3
import zipfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

from tests.flows.client import PROBLEM, Caller
from tests.flows.living import Home
from tests.flows.ordering import order_for
from tests.flows.overhearing import NAMES, named

KEPT_IN = frozenset({"prescriptions_patient", "prescriptions_patientidentifier"})


TYPED = "Quillfeather Odalys D-1001"


def check_nothing_typed_comes_back(home: Home) -> None:
    """A name that was typed where it does not belong, or that is not the one on file, stands in no problem told."""
    wrong: tuple[dict[str, Any], ...] = (
        {"patient": {"birth_date": TYPED}},
        {"patient": {"family_name": f"{TYPED} \x07"}},
        {"patient": {"given_name": TYPED * 20}},
        {"patient": {"sex": TYPED}},
        {"patient": {"identifier": {"system": "urn:demo:hospital-number", "value": TYPED * 9}}},
        {"patient": {"given_name": "Another"}},
        {"patient": {"identifier": TYPED}},
        {"patient": TYPED},
    )
    for number, changes in enumerate(wrong):
        order = order_for(home, f"CANARY-{number}")
        patient = changes["patient"]
        order["patient"] = patient if isinstance(patient, str) else order["patient"] | patient
        answer = home.mira.send(
            "POST", "/api/v1/order", json.dumps({"order": order}).encode(), Content_Type="application/json"
        )
        assert 400 <= answer.status < 500, (number, answer.status, answer.body[:500])
        assert answer.headers["Content-Type"] == PROBLEM
        assert named(answer.body) == [], (number, answer.body.decode())


def check_metrics_and_health(home: Home) -> None:
    """What is told to whoever watches the house names nobody."""
    anybody = Caller(base_url=home.base_url)
    for path in ("/health/alive", "/health/ready", "/metrics"):
        answer = anybody.send("GET", path)
        assert answer.status in {200, 404, 503}, path
        assert named(answer.body) == [], path


def check_the_search_finds(home: Home) -> None:
    """A name that is planted in a log and beside a plate file is found in both."""
    planted = (home.logs / "planted.log", next((home.path / "print-files").iterdir()) / "planted.txt")
    for path in planted:
        path.write_text(f"a line about {NAMES[0].title()}\n", encoding="utf-8")
    try:
        found = [name for name, data in _files(home) if named(data)]
        assert sorted(found) == sorted(map(str, planted))
    finally:
        for path in planted:
            path.unlink()


def check_no_names(home: Home, folder: Path) -> None:
    """No row outside the patients' own tables, no log line, no plate file holds name or number."""
    kept = [row for table, row in home.tables.texts(but=frozenset()) if table in KEPT_IN]
    assert any(name in row.lower() for row in kept for name in NAMES), "the search would not find a name"
    for table, row in home.tables.texts(but=KEPT_IN):
        assert named(row.encode()) == [], (table, row[:800])
    searched = 0
    for path, data in _files(home):
        assert named(data) == [], path
        searched += 1
    assert searched >= 4, "logs, plate file and its parts were searched"
    if home.tables.path.exists():
        assert named(_database_without_patients(home, folder / "purged.sqlite3")) == []


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
