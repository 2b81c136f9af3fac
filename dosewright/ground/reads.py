"""Looks at patient data: each is one row, and a digest of every hour's rows goes into the site's audit chain.

A row inside every look would hold the chain while people read; so the first look of an hour leaves a piece of
work, and the worker that does it seals all rows since the last seal. Rows are counted in the order in which
they were written, so a row that was changed, taken out or put in between breaks the seal it stands under.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from django.db.models import QuerySet

from dosewright.ground.models import AuditEntry, Chain, ReadEntry, Site, Work
from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.pure.roles import Actor
from dosewright.ground.work import Job

SEAL = "reads.seal"
WORK_KIND = "seal reads"
GRACE = timedelta(minutes=10)
"""How long after the end of an hour its rows are sealed: longer than a request lasts (judgement, no source)."""
START = "0" * 64
BATCH = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class Seal:
    """What the chain says of a run of rows: their places, counted from 1, and the digest over them."""

    entry: int
    first: int
    last: int
    digest: str


def leave_sealing(actor: Actor, *, at: datetime) -> None:
    """Leave the piece of work that seals the hour of `at`, unless it was left before."""
    hour = at.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    Work.objects.get_or_create(
        key=f"reads {actor.site_code} {hour:%Y-%m-%dT%H}",
        defaults={
            "site_id": actor.site_id,
            "kind": WORK_KIND,
            "payload": canonical_text({"before": hour + timedelta(hours=1)}),
            "created_at": at,
            "due_at": hour + timedelta(hours=1) + GRACE,
        },
    )


def seal_reads(job: Job) -> None:
    """Put the digest of the rows since the last seal into the chain, up to the last one of the hour; for workers."""
    before = datetime.fromisoformat(job.payload["before"])
    with job.finishing(SEAL) as doing:
        # Two workers with the work of two hours must not seal the same rows.
        Chain.objects.get_or_create(site_id=job.site_id, defaults={"head": START})
        Chain.objects.select_for_update().get(site_id=job.site_id)
        latest = _seal_entries(job.site_id).last()
        sealed = _seal(latest).last if latest else 0
        count, digest = digest_of_rows(_rows_until(job.site_id, before)[sealed:].iterator(chunk_size=BATCH))
        doing.note(first=sealed + 1, last=sealed + count, digest=digest)


def read_faults(site: Site) -> list[tuple[str, str]]:
    """Return where the rows of reads are not those that were sealed, and what is wrong there."""
    faults: list[tuple[str, str]] = []
    expected = 1
    rows = _rows(site.pk).iterator(chunk_size=BATCH)
    for seal in _readable_seals(site.pk):
        where = f"{site.code} reads {seal.first} to {seal.last}"
        if seal.first != expected:
            faults.append((where, f"entry {seal.entry} does not continue the seal before it"))
        wanted = seal.last - seal.first + 1
        count, digest = digest_of_rows(row for _, row in zip(range(wanted), rows, strict=False))
        if (count, digest) != (wanted, seal.digest):
            faults.append((where, f"are not the rows that entry {seal.entry} sealed"))
        expected = seal.last + 1
    return faults


def digest_of_rows(rows: Iterable[ReadEntry]) -> tuple[int, str]:
    """Return how many rows there are and a digest over all of them in their order."""
    count, digest = 0, START
    for row in rows:
        digest = digest_of(digest + "\n" + canonical_text(_told(row)))
        count += 1
    return count, digest


def _told(row: ReadEntry) -> dict[str, Any]:
    return {"at": row.at, "reader": row.reader.code, "patient": row.patient, "view": row.view, "reason": row.reason}


def _rows(site_id: int) -> QuerySet[ReadEntry]:
    return ReadEntry.objects.filter(site_id=site_id).select_related("reader").order_by("pk")


def _rows_until(site_id: int, before: datetime) -> QuerySet[ReadEntry]:
    """Return all rows up to the newest one of before that time, though a clock that was set back made some younger."""
    newest = ReadEntry.objects.filter(site_id=site_id, at__lt=before).order_by("pk").last()
    return _rows(site_id).filter(pk__lte=newest.pk if newest else 0)


def _seal_entries(site_id: int) -> QuerySet[AuditEntry]:
    return AuditEntry.objects.filter(site_id=site_id, action=SEAL, outcome=AuditEntry.DONE).order_by("seq")


def _readable_seals(site_id: int) -> Iterator[Seal]:
    """Yield the seals in the order of the chain; an entry that cannot be read is the chain's own fault."""
    for entry in _seal_entries(site_id).iterator(chunk_size=BATCH):
        with contextlib.suppress(ValueError, KeyError, TypeError, AttributeError):
            yield _seal(entry)


def _seal(entry: AuditEntry) -> Seal:
    notes = json.loads(entry.text)["notes"]
    return Seal(entry=entry.seq, first=int(notes["first"]), last=int(notes["last"]), digest=str(notes["digest"]))
