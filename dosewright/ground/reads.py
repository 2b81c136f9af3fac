"""Looks at patient data: each is one row, and a digest of every hour's rows goes into the site's audit chain.

A row inside every look would hold the chain while people read; so the first look of an hour leaves a piece of
work, and the worker that does it seals all rows since the last seal. Rows are counted in the order in which
they were written, so a row that was changed, taken out or put in between breaks the seal it stands under.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

from django.db.models import QuerySet

from dosewright.ground.models import AuditEntry, Chain, ReadEntry, Work
from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.pure.roles import Actor
from dosewright.ground.raw_rows import rows_by
from dosewright.ground.work import Job

SEAL = "reads.seal"
WORK_KIND = "seal reads"
GRACE = timedelta(minutes=10)
"""How long after the end of an hour its rows are sealed: longer than a request lasts (judgement, no source)."""
START = "0" * 64
SAID = ("at", "reader", "patient", "view", "reason")


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
        last, end = _end_of(latest) if latest else (0, None)
        count, digest = 0, START
        for key, text in read_texts(job.site_id, after=end, before=before):
            end, count, digest = key, count + 1, digest_of(digest + "\n" + text)
        doing.note(first=last + 1, last=last + count, key=end or 0, digest=digest)


def read_texts(site_id: int, *, after: int | None = None, before: datetime | None = None) -> Iterator[tuple[int, str]]:
    """Yield key and hashed text of a site's looks in the order in which they were written.

    With `before`, up to the newest one of before that time, though a clock that was set back made some younger.
    """
    rows = ReadEntry.objects.filter(site_id=site_id)
    if after is not None:
        rows = rows.filter(pk__gt=after)
    if before is not None:
        newest = ReadEntry.objects.filter(site_id=site_id, at__lt=before).order_by("pk").last()
        rows = rows.filter(pk__lte=newest.pk if newest else 0)
    for pk, values in rows_by(rows, "pk", "at", "reader__code", "patient", "view", "reason"):
        yield pk, canonical_text(dict(zip(SAID, values or (), strict=False)))


def _seal_entries(site_id: int) -> QuerySet[AuditEntry]:
    return AuditEntry.objects.filter(site_id=site_id, action=SEAL, outcome=AuditEntry.DONE).order_by("seq")


def _end_of(entry: AuditEntry) -> tuple[int, int]:
    notes = json.loads(entry.text)["notes"]
    return int(notes["last"]), int(notes["key"])
