"""Documents: drawn from exact content, written once, numbered, and issued under count."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db.models import F

from dosewright.ground.act import Act
from dosewright.ground.fresh import new_code
from dosewright.ground.models import Counter, Document, DocumentIssue
from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.pure.errors import Conflict, Refusal


def next_number(site_id: int, series: str) -> int:
    """Return the next number of a series at a site, within the transaction that is open."""
    Counter.objects.get_or_create(site_id=site_id, series=series)
    Counter.objects.filter(site_id=site_id, series=series).update(last=F("last") + 1)
    return Counter.objects.get(site_id=site_id, series=series).last


def make_document(
    act: Act,
    *,
    kind: str,
    state: str,
    subject_kind: str,
    subject: str,
    content: Any,
    draw: Callable[[str, Any], bytes],
    series: str = "",
) -> Document:
    """Draw `content` as PDF bytes by ``draw(number, content)``, write the file and add the document's row.

    `content` must have a canonical text. Drafts and originals are numbered in series of their own.
    """
    site = act.actor.site_code
    count = next_number(act.actor.site_id, series or f"{kind} {state}")
    number = f"{'D' if state == Document.DRAFT else ''}{count:05d}"
    text = canonical_text(content)
    data = draw(number, content)
    path = Path("documents") / kind.replace(" ", "-") / f"{site}-{number}-{digest_of(data)[:12]}.pdf"
    write_file(Path(settings.DOSEWRIGHT_HOME) / path, data)
    document = Document.objects.create(
        code=new_code("document"),
        site_id=act.actor.site_id,
        kind=kind,
        number=number,
        state=state,
        subject_kind=subject_kind,
        subject=subject,
        content_text=text,
        content_digest=digest_of(text),
        file_digest=digest_of(data),
        path=str(path),
        made_by_id=act.actor.user_id,
        made_at=act.at,
    )
    act.note(
        document=document.code,
        kind=kind,
        number=number,
        state=state,
        content=document.content_digest,
        file=document.file_digest,
    )
    return document


def issue(act: Act, document: Document, what: str, *, reason: str = "") -> DocumentIssue:
    """Record what became of an original; raises Conflict when that is already told or cannot follow."""
    past = set(document.issues.values_list("what", flat=True))
    after_issue = {DocumentIssue.APPLIED, DocumentIssue.SPOILED, DocumentIssue.RETURNED}
    follows = (what == DocumentIssue.ISSUED and not past) or (what in after_issue and past == {DocumentIssue.ISSUED})
    if document.state != Document.ORIGINAL or not follows:
        raise Conflict(
            Refusal(
                field=document.code,
                value=", ".join(sorted(past)) or document.state,
                message=f"a {document.state} in this state cannot be {what}",
                accepted="an issued original that is not yet accounted for",
                rule="label count",
            )
        )
    act.note(document=document.code, became=what)
    return DocumentIssue.objects.create(document=document, what=what, by_id=act.actor.user_id, at=act.at, reason=reason)


def read_file(document: Document) -> bytes:
    """Return the document's bytes after checking them against their digest; raises Conflict when they differ."""
    data = (Path(settings.DOSEWRIGHT_HOME) / document.path).read_bytes()
    if digest_of(data) != document.file_digest:
        raise Conflict.because(document.code, "the stored file is not the one that was made", rule="file digest")
    return data


def write_file(path: Path, data: bytes) -> None:
    """Write `data` so that the name never stands for half a file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    half = path.with_name(f".{path.name}.{os.getpid()}")
    with half.open("wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    os.replace(half, path)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
