"""The whole record as it lies in the database, one record after another, for the verifier and for an export."""

from __future__ import annotations

import contextlib
import hashlib
import os
from collections.abc import Iterable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

from django.apps import apps
from django.db import connection, models, transaction

from dosewright.ground.added import named_by_entries, row_texts
from dosewright.ground.models import AuditEntry, Chain, Site, User
from dosewright.ground.offline_verifier import FORMAT, GENESIS
from dosewright.ground.pure.canonical import canonical_text, utc_text
from dosewright.ground.raw_rows import rows_by
from dosewright.ground.reads import read_texts
from dosewright.ground.triggers import missing_triggers

COLUMNS = ("actor__username", "action", "outcome", "subject", "text", "previous", "digest", "at")
NAMES = ("actor", *COLUMNS[1:])
NOTHING = ("",) * len(COLUMNS)


@contextlib.contextmanager
def one_moment() -> Iterator[None]:
    """Read everything inside the block as it stood at one moment, while others go on writing."""
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "postgresql":
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            yield
    else:
        yield from _deferred()


def _deferred() -> Iterator[None]:
    """A plain transaction of SQLite: `atomic` would begin it as a writer's and keep all others waiting."""
    with connection.cursor() as cursor:
        cursor.execute("BEGIN DEFERRED")
        try:
            yield
        finally:
            cursor.execute("ROLLBACK")


def records(*, at: datetime | None = None) -> Iterator[dict[str, Any]]:
    """Yield the record in the order that the verifier takes it in; see `offline_verifier`."""
    yield {
        "is": "export",
        "format": FORMAT,
        "made_at": at and utc_text(at),
        "missing_triggers": sorted(missing_triggers()),
    }
    for pk, code in User.objects.order_by("pk").values_list("pk", "code"):
        yield {"is": "person", "id": pk, "code": code}
    for site in Site.objects.order_by("code"):
        yield from _site(site)
    for model in named_models():
        table = model._meta.db_table
        for pk, text in row_texts(model):
            yield {"is": "row", "table": table, "id": pk, "text": text}


def named_models() -> tuple[type[models.Model], ...]:
    """Return the append-only tables whose rows are named by audit entries, in the order of their names."""
    return tuple(sorted(filter(named_by_entries, apps.get_models()), key=lambda model: model._meta.db_table))


def _site(site: Site) -> Iterator[dict[str, Any]]:
    chain = Chain.objects.filter(site=site).first()
    length, head = (chain.length, chain.head) if chain else (0, GENESIS)
    yield {"is": "site", "code": site.code, "length": length, "head": head}
    for seq, values in rows_by(AuditEntry.objects.filter(site=site), "seq", *COLUMNS):
        said = dict(zip(NAMES, values or NOTHING, strict=True))
        yield {"is": "entry", "site": site.code, "seq": seq, **said, "at": said["at"] and utc_text(said["at"])}
    for pk, text in read_texts(site.pk):
        yield {"is": "read", "site": site.code, "id": pk, "text": text}


def written(source: Iterable[dict[str, Any]], path: Path) -> Iterator[dict[str, Any]]:
    """Pass `source` on while writing it to a new file that its owner alone may read; closes it with its digest.

    The name stands for a whole export or for none. Raises FileExistsError.
    """
    if path.exists():
        raise FileExistsError(path)
    half = path.with_name(f".{path.name}.{os.getpid()}")
    over, count = hashlib.sha256(), 0
    try:
        with os.fdopen(os.open(half, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            for record in source:
                line = canonical_text(record).encode() + b"\n"
                over.update(line)
                count += 1
                file.write(line)
                yield record
            end = {"is": "end", "lines": count, "digest": over.hexdigest()}
            file.write(canonical_text(end).encode() + b"\n")
            file.flush()
            os.fsync(file.fileno())
        os.link(half, path)
    finally:
        half.unlink(missing_ok=True)
