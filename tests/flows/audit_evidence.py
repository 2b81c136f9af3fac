"""The audit trail from outside: clean as it stands; one flipped byte in a copy is found and located."""

from __future__ import annotations

import json
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

from tests.flows.living import Home
from tests.services.stacks import ROOT


def verified_by_command(env: dict[str, str]) -> tuple[int, dict[str, Any]]:
    """Return exit code and document of `verify_audit --json`, which prints nothing else."""
    done = subprocess.run(
        [sys.executable, "manage.py", "verify_audit", "--json"],
        cwd=ROOT,
        env=env,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.stdout, done.stderr
    return done.returncode, json.loads(done.stdout)


def check_audit(home: Home) -> None:
    """Door and command both read every entry and find no fault; whoever acts is on record."""
    found = home.otto.post("audit/verify")
    assert found["faults"] == []
    code, document = verified_by_command(home.stack.env)
    assert (code, document["faults"]) == (0, [])
    assert document["entries"] == home.tables.one("SELECT count(*) FROM ground_auditentry")
    assert document["signatures"] == home.tables.one("SELECT count(*) FROM ground_signature")
    assert [chain["site"] for chain in document["chains"]] == [home.site]
    assert document["entries"] >= found["entries"] > 50
    check_reads_are_sealed(home)


def check_reads_are_sealed(home: Home) -> None:
    """Looks at patient data of the hours that are over stand under a digest in the chain."""
    seals = home.tables.all("SELECT text FROM ground_auditentry WHERE action = 'reads.seal' ORDER BY seq")
    sealed = [json.loads(text)["notes"] for (text,) in seals]
    assert sum(one["last"] - one["first"] + 1 for one in sealed) > 0


def check_flipped_bytes(home: Home, folder: Path) -> None:
    """Flip one byte at a time in a copy of the database file: each is found, and its place is named."""
    copy = _copied(home, folder / "whole.sqlite3")
    with closing(sqlite3.connect(copy)) as database:
        seq, text = database.execute(
            "SELECT seq, text FROM ground_auditentry WHERE action = 'order.verify' AND outcome = 'done'"
        ).fetchone()
        signature, subject, shown = database.execute(
            "SELECT id, subject, shown_text FROM ground_signature WHERE action = 'order.verify'"
        ).fetchone()
    _found_at(home, copy, folder / "entry", text, f"{home.site} entry {seq}")
    _found_at(home, copy, folder / "signature", shown, f"signature {signature} on {subject}")


def _copied(home: Home, path: Path) -> Path:
    with closing(sqlite3.connect(home.tables.path)) as live, closing(sqlite3.connect(path)) as copy:
        live.backup(copy)
    return path


def _found_at(home: Home, copy: Path, folder: Path, text: str, where: str) -> None:
    (folder / "keys").mkdir(parents=True)
    shutil.copytree(home.path / "keys", folder / "keys", dirs_exist_ok=True)
    data = bytearray(copy.read_bytes())
    start = text[:200].encode()
    assert data.count(start) == 1, "the text stands once in the file"
    place = data.index(start) + start.index(b"order.verify" if b"order.verify" in start else b"a")
    data[place] ^= 0x01
    (folder / "dosewright.sqlite3").write_bytes(data)
    code, document = verified_by_command(home.stack.env | {"DOSEWRIGHT_HOME": str(folder)})
    assert code == 1
    assert where in [fault["where"] for fault in document["faults"]], document["faults"]
