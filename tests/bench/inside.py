"""Measures inside one home: `python -m tests.bench.inside WHAT ...`, prints JSON.

WHAT is found, verify COUNT ..., pages FEW MANY, sites COUNT ORDERS, or ask KIND SITE ...
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import django

django.setup()

from django.db.models import F  # noqa: E402
from django.utils import timezone  # noqa: E402

from dosewright.ground.act import GENESIS  # noqa: E402
from dosewright.ground.added import row_texts  # noqa: E402
from dosewright.ground.models import AuditEntry, Chain, Outbox, Site, User  # noqa: E402
from dosewright.ground.offline_verifier import verify_lines  # noqa: E402
from dosewright.ground.pure.canonical import canonical_text, digest_of  # noqa: E402
from dosewright.ground.verify import verify  # noqa: E402
from tests.ground.small_site import small_site  # noqa: E402


def lengthened(count: int) -> None:
    """Add `count` entries that each tell of one row, as `act` would, but many at a time."""
    site = Site.objects.order_by("pk").get()
    worker = User.objects.get(site=site, kind=User.WORKER)
    chain, _ = Chain.objects.get_or_create(site=site, defaults={"head": GENESIS})
    at = timezone.now()
    facts = [Outbox(site=site, fact="bench", payload="{}", at=at) for _ in range(count)]
    facts = Outbox.objects.bulk_create(facts, batch_size=500)
    texts = dict(row_texts(Outbox))
    entries, head = [], chain.head
    for number, fact in enumerate(facts, start=chain.length + 1):
        said = {
            "seq": number, "site": site.code, "at": at, "actor": worker.username, "channel": "worker",
            "roles": ["system"], "action": "plan.make", "outcome": "done", "subject": f"PN-{number}", "reason": "",
            "changes": [{"of": "print batch", "code": f"PB-{number}", "event": "approve", "from": "a", "to": "b"}],
            "notes": {"lines": ["DN-1", "DN-2"], "plates": 1},
            "added": {"ground_outbox": {str(fact.pk): digest_of(texts[fact.pk])}},
        }  # fmt: skip
        text = canonical_text(said)
        digest = digest_of(head + "\n" + text)
        entries.append(
            AuditEntry(
                site=site, seq=number, at=at, actor=worker, action="plan.make", outcome="done",
                subject=f"PN-{number}", text=text, previous=head, digest=digest,
            )
        )  # fmt: skip
        head = digest
    AuditEntry.objects.bulk_create(entries, batch_size=500)
    Chain.objects.filter(pk=chain.pk).update(length=F("length") + count, head=head)


def verifying(counts: list[int]) -> list[dict[str, Any]]:
    """Return entries a second in place and offline at each length."""
    found = []
    for count in counts:
        chain = Chain.objects.first()
        lengthened(count - (chain.length if chain else 0))
        begun, worked = time.perf_counter(), time.process_time()
        findings = verify()
        here, busy = time.perf_counter() - begun, time.process_time() - worked
        assert (findings.entries, findings.faults) == (count, []), findings
        with tempfile.TemporaryDirectory() as folder:
            verify(export=Path(folder) / "export")
            begun = time.perf_counter()
            with (Path(folder) / "export").open(encoding="utf-8") as lines:
                assert verify_lines(lines).faults == []
            offline = time.perf_counter() - begun
        found.append(
            {"entries": count, "per_s": count / here, "per_busy_s": count / busy, "offline_per_s": count / offline}
        )
    return found


def paging(few: int, many: int) -> list[dict[str, Any]]:
    """Return what each page takes at few orders and at many."""
    from django.conf import settings
    from django.db import connection

    from tests.bench.crowd import crowded
    from tests.bench.pages import looked_at
    from tests.cast import demo_substance, found_cast
    from tests.orders import order_request, screened_order

    settings.ALLOWED_HOSTS = ["testserver"]
    cast = found_cast(at=timezone.now())
    demo_substance(cast)
    order = screened_order(cast, order_request())
    crowded(order, few)
    before = {(one.page, one.who): one for one in looked_at(cast, order, times=5)}
    crowded(order, many - few)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
    return [
        {
            "page": one.page, "who": one.who, "queries": one.queries,
            "few_ms": 1000 * before[one.page, one.who].seconds, "many_ms": 1000 * one.seconds,
        }
        for one in looked_at(cast, order, times=5)
    ]  # fmt: skip


def main(what: str, *rest: str) -> None:
    """Do what is asked and print it."""
    answer: Any = None
    if what == "found":
        small_site("bench")
    elif what == "verify":
        small_site("bench")
        answer = verifying([int(one) for one in rest])
    elif what == "pages":
        answer = paging(int(rest[0]), int(rest[1]))
    elif what == "sites":
        from tests.bench.workers import found_sites

        answer = found_sites(int(rest[0]), int(rest[1]))
    elif what == "ask":
        from tests.bench.workers import ask_for

        ask_for(rest[0], list(rest[1:]))
    elif what == "bare":
        from tests.bench import bare

        bare.make_tables()
    sys.stdout.write(json.dumps(answer))


if __name__ == "__main__":
    main(*sys.argv[1:])
