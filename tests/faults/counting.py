"""Counts from outside, by SQL and on the disk, what must hold after any fault; knows none of our modules."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tests.flows.living import Home
from tests.flows.tables import Tables

GENESIS = "0" * 64
MOVING = frozenset(
    {
        "ground_readentry",
        "ground_work",
        "ground_outbox",
        "runs_printerseen",
        "knox_authtoken",
        "prescriptions_screenreport",
    }
)
"""Tables that grow by others while somebody acts: looks, their sealing, what a printer tells, and the screens that run
again before a start, a release or a supply, which are actions of their own and stay on record if the other fails."""

FOLDERS = ("documents", "print-files")
CLEARED_AFTER_S = 2 * 3600
"""Twice the age at which the house clears what an ended process left behind."""

FILLER = ".filler"
"""What fills a disk of the tests; nobody's file."""

ONCE = {
    "a dose line stands in two plans": (
        "SELECT line_id FROM plates_zone z JOIN plates_printbatch b ON b.id = z.batch_id"
        " WHERE line_id IS NOT NULL AND b.state NOT IN ('cancelled', 'faulted')"
        " GROUP BY line_id HAVING count(DISTINCT b.plan) > 1"
    ),
    "a planned dose line is not reserved": (
        "SELECT l.code FROM prescriptions_doseline l JOIN plates_zone z ON z.line_id = l.id"
        " JOIN plates_printbatch b ON b.id = z.batch_id"
        " WHERE b.state NOT IN ('cancelled', 'faulted', 'closed') AND l.committed_to = ''"
    ),
    "a dose line is reserved for a plan without a zone": (
        "SELECT l.code FROM prescriptions_doseline l WHERE l.committed_to <> '' AND NOT EXISTS"
        " (SELECT 1 FROM plates_zone z WHERE z.line_id = l.id)"
    ),
    "a plan is there twice": "SELECT code FROM plates_planrecord GROUP BY code HAVING count(*) > 1",
    "a batch has two plate files": "SELECT batch_id FROM plates_platefile GROUP BY batch_id HAVING count(*) > 1",
    "a delivered batch has no plate file": (
        "SELECT code FROM plates_printbatch b WHERE state NOT IN ('planned', 'queued', 'cancelled')"
        " AND NOT EXISTS (SELECT 1 FROM plates_platefile f WHERE f.batch_id = b.id)"
    ),
    "a unit lies in two packs": "SELECT unit_id FROM labels_packunit GROUP BY unit_id HAVING count(*) > 1",
    "a pack was supplied twice": "SELECT pack_id FROM labels_supply GROUP BY pack_id HAVING count(*) > 1",
    "a pack was released twice": (
        "SELECT pack_id FROM labels_releaserecord WHERE outcome = 'released' GROUP BY pack_id HAVING count(*) > 1"
    ),
    "somebody signed the same twice": (
        "SELECT subject FROM ground_signature GROUP BY subject, subject_version, action, signer_id HAVING count(*) > 1"
    ),
    "a fact was not handed to both houses": (
        "SELECT id FROM ground_outbox o WHERE fact = 'order received' AND 2 <>"
        " (SELECT count(*) FROM ground_work w WHERE w.key LIKE 'fact:' || o.id || ':%')"
    ),
    "stock is not what moved": (
        "SELECT m.lot, m.account FROM (SELECT site_id, lot, account, sum(amount_ug) AS ug FROM stock_stockmovement"
        " GROUP BY site_id, lot, account) m LEFT JOIN stock_balance b"
        " ON b.site_id = m.site_id AND b.lot = m.lot AND b.account = m.account WHERE coalesce(b.amount_ug, 0) <> m.ug"
    ),
    "a balance is below nothing": "SELECT lot FROM stock_balance WHERE amount_ug < 0",
    "work failed by a fault": "SELECT kind, failure FROM ground_work WHERE state = 'failed' AND failure NOT LIKE '[%'",
}
"""Each query finds what must not be."""


def troubles(home: Home) -> list[str]:
    """Return everything that is lost, twice or half-written."""
    found = [f"{what}: {rows[:3]}" for what, query in ONCE.items() if (rows := home.tables.all(query))]
    return [*found, *chain_troubles(home.tables), *file_troubles(home)]


def chain_troubles(tables: Tables) -> Iterator[str]:
    """Walk every chain by hashlib alone."""
    heads: dict[int, tuple[int, str]] = {}
    query = "SELECT site_id, seq, text, previous, digest FROM ground_auditentry ORDER BY site_id, seq"
    for site, seq, text, previous, digest in tables.all(query):
        length, head = heads.get(site, (0, GENESIS))
        if (seq, previous) != (length + 1, head) or hashed(f"{previous}\n{text}") != digest:
            yield f"the audit chain breaks at {seq}"
        heads[site] = (seq, digest)
    for site, length, head in tables.all("SELECT site_id, length, head FROM ground_chain"):
        if heads.get(site, (0, GENESIS)) != (length, head):
            yield f"the head of the chain says {length}"


def file_troubles(home: Home) -> Iterator[str]:
    """Compare every row that tells of a file with the file, and every file with the rows."""
    told = dict(home.tables.all("SELECT path, file_digest FROM ground_document"))
    told |= dict(home.tables.all("SELECT path, sha256 FROM plates_platefile"))
    for path, digest in told.items():
        if not (home.path / path).exists():
            yield f"{path} is gone"
        elif hashlib.sha256((home.path / path).read_bytes()).hexdigest() != digest:
            yield f"{path} is not what was written"
    for path in untold(home, set(told)):
        if path.stat().st_mtime < time.time() - CLEARED_AFTER_S:
            yield f"no row tells of {path.name}, which is old"


def untold(home: Home, told: set[str]) -> list[Path]:
    """Return documents under their full names that no row tells of; a plate file waits for its batch by its hash."""
    found = [path for path in files(home, "documents") if not path.name.startswith(".")]
    return [path for path in found if str(path.relative_to(home.path)) not in told]


def left_over(home: Home) -> list[Path]:
    """Return what ended processes left for the hourly clearing: hidden halves, and documents without a row."""
    hidden = [path for name in FOLDERS for path in files(home, name) if path.name.startswith(".")]
    told = {path for (path,) in home.tables.all("SELECT path FROM ground_document")}
    return hidden + untold(home, told)


def files(home: Home, name: str) -> list[Path]:
    """Return every file below a folder of the home."""
    return [path for path in (home.path / name).rglob("*") if path.is_file() and path.name != FILLER]


def hashed(text: str) -> str:
    """Return the SHA-256 of a text."""
    return hashlib.sha256(text.encode()).hexdigest()


def standing(home: Home) -> dict[str, int]:
    """Return how many rows stand in each table that grows only when somebody acts."""
    return {name: count for name, count in home.tables.counts().items() if name not in MOVING}


def grown(before: dict[str, int], after: dict[str, int]) -> dict[str, int]:
    """Return which tables grew and by how much."""
    return {name: count - before.get(name, 0) for name, count in after.items() if count != before.get(name, 0)}


def done(home: Home, action: str) -> int:
    """Return how often an action stands in the audit trail as done; that it was asked again is no second time."""
    query = f"SELECT count(*) FROM ground_auditentry WHERE outcome = 'done' AND action = '{action}'"
    return int(home.tables.one(f"{query} AND text NOT LIKE '%\"repeated\":true%'"))


def last_subject(home: Home, action: str) -> Any:
    """Return what the last entry of an action is about."""
    query = f"SELECT subject FROM ground_auditentry WHERE outcome = 'done' AND action = '{action}' ORDER BY id DESC"
    return home.tables.all(f"{query} LIMIT 1")[0][0]
