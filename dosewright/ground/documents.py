"""Documents: drawn from exact content, written once, numbered, and issued under count."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from django.conf import settings
from django.db.models import F

from dosewright.ground import steps
from dosewright.ground.act import Act
from dosewright.ground.fresh import new_code
from dosewright.ground.models import Counter, Document, DocumentIssue
from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.pure.errors import Conflict, NotThere, Refusal

Content = TypeVar("Content")


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """What tells a document from every other one: its code, its number in its series, its state."""

    code: str
    number: str
    state: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelCount:
    """How many originals of a subject were issued, and what became of them."""

    issued: int = 0
    applied: int = 0
    spoiled: int = 0
    returned: int = 0


def next_number(site_id: int, series: str) -> int:
    """Return the next number of a series at a site, within the transaction that is open."""
    Counter.objects.get_or_create(site_id=site_id, series=series)
    Counter.objects.filter(site_id=site_id, series=series).update(last=F("last") + 1)
    return Counter.objects.get(site_id=site_id, series=series).last


def as_it_is(content: Any) -> Any:
    """Return `content`: for documents that name no patient."""
    return content


def make_document(
    act: Act,
    *,
    kind: str,
    state: str,
    subject_kind: str,
    subject: str,
    compose: Callable[[Mark], Content],
    draw: Callable[[Content], bytes],
    kept: Callable[[Content], Any] = as_it_is,
    series: str = "",
) -> Document:
    """Compose content for a fresh mark, draw it as PDF bytes, write the file and add the document's row.

    What stands in the row is the canonical text of ``kept(content)``, where a patient is a code and a digest.
    Drafts and originals are numbered in series of their own.
    """
    count = next_number(act.actor.site_id, series or f"{kind} {state}")
    number = f"{'D' if state == Document.DRAFT else ''}{count:05d}"
    mark = Mark(code=new_code("document"), number=number, state=state)
    content = compose(mark)
    text, data = canonical_text(kept(content)), draw(content)
    name = f"{act.actor.site_code}-{number}-{digest_of(data)[:12]}.pdf"
    path = Path("documents") / kind.replace(" ", "-") / name
    write_file(Path(settings.DOSEWRIGHT_HOME) / path, data)
    document = Document.objects.create(
        code=mark.code,
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


FATES = {
    DocumentIssue.ISSUED: (frozenset(),),
    DocumentIssue.APPLIED: (frozenset({DocumentIssue.ISSUED}),),
    DocumentIssue.RETURNED: (frozenset({DocumentIssue.ISSUED}),),
    DocumentIssue.SPOILED: (
        frozenset({DocumentIssue.ISSUED}),
        frozenset({DocumentIssue.ISSUED, DocumentIssue.APPLIED}),
    ),
}
"""What must have become of an original, and nothing else, before it can become this."""


def issue(act: Act, document: Document, what: str, *, reason: str = "") -> DocumentIssue:
    """Record what became of an original; raises Conflict when that is already told or cannot follow."""
    past = frozenset(document.issues.values_list("what", flat=True))
    if document.state != Document.ORIGINAL or past not in FATES.get(what, ()):
        raise Conflict(
            Refusal(
                field=document.code,
                value=", ".join(sorted(past)) or document.state,
                message=f"a {document.kind} in this state cannot be {what}",
                accepted="an issued original that is not yet accounted for",
                rule="label count",
            )
        )
    act.note(document=document.code, became=what)
    return DocumentIssue.objects.create(document=document, what=what, by_id=act.actor.user_id, at=act.at, reason=reason)


def fate_of(document: Document) -> str:
    """Return what became of a document last: issued, applied, spoiled, returned, or empty before its issue."""
    return document.issues.order_by("pk").values_list("what", flat=True).last() or ""


def count_originals(site_id: int, kind: str, subject: str) -> LabelCount:
    """Count the originals of a kind that were made for a subject, by what became of them last."""
    rows = Document.objects.filter(site_id=site_id, kind=kind, subject=subject, state=Document.ORIGINAL)
    fates = [fate_of(row) for row in rows.prefetch_related("issues")]
    return LabelCount(
        issued=len(fates),
        applied=fates.count(DocumentIssue.APPLIED),
        spoiled=fates.count(DocumentIssue.SPOILED),
        returned=fates.count(DocumentIssue.RETURNED),
    )


def document_of(site_id: int, code: str, *, kind: str = "") -> Document:
    """Return a document of the site by its code; raises NotThere."""
    rows = Document.objects.filter(site_id=site_id, code=code, **({"kind": kind} if kind else {}))
    found = rows.first()
    if found is None:
        raise NotThere.because(
            kind or "document", "no such document at this site", value=code[:40], rule="code", accepted="its code"
        )
    return found


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
    try:
        with half.open("wb") as file:
            file.write(data)
            steps.at("file-half", path.suffix)
            file.flush()
            os.fsync(file.fileno())
        steps.at("file-whole", path.suffix)
        os.replace(half, path)
    except BaseException:
        half.unlink(missing_ok=True)
        raise
    steps.at("file-named", path.suffix)
    folder = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
