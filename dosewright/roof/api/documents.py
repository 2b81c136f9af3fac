"""Documents as records that can be seen, and their files; each look at a patient's document is recorded."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.http import HttpResponse
from django.utils.translation import gettext_lazy as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.views import APIView

from dosewright.ground.documents import read_file
from dosewright.ground.models import Document
from dosewright.ground.pure.codes import ALPHABET
from dosewright.ground.pure.errors import BadInput, NotThere
from dosewright.ground.pure.roles import Actor, authorise_read
from dosewright.ground.rest import KeysetPage, Look, look
from dosewright.ground.scope import find, record_read
from dosewright.roof import clock
from dosewright.roof.api.authentication import actor_in
from dosewright.roof.api.schema import PROBLEMS

NAMES_A_PATIENT = frozenset({"label"})
"""Kinds of documents that print a name: an auditor sees pseudonyms, and names only by a reveal with a reason."""

PATIENT = re.compile(rf"PA-[{ALPHABET}]{{8}}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Fate:
    """What became of a numbered original, when and by whom."""

    what: str
    at: datetime
    by: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DocumentLine:
    """One document in a list."""

    code: str
    kind: str
    number: str
    state: str
    subject: str
    made_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class DocumentFacts:
    """One document: what it is of, its digests, and what became of it."""

    code: str
    kind: str
    number: str
    state: str
    subject_kind: str
    subject: str
    made_at: datetime
    made_by: str
    content_digest: str
    file_digest: str
    fates: tuple[Fate, ...]


@look
class DocumentLook(Look):
    """Labels, certificates, worksheets and maps that were made."""

    subject = "document"
    reads = "document"
    title = _("Documents")
    filters = ("kind", "state", "subject")

    def one(self, actor: Actor, code: str, *, at: datetime) -> DocumentFacts:
        authorise_read(actor, self.reads)
        row = find(actor, Document, code)
        fates = tuple(
            Fate(what=one.what, at=one.at, by=one.by.printed_name, reason=one.reason)
            for one in row.issues.select_related("by").order_by("pk")
        )
        return DocumentFacts(
            code=row.code,
            kind=row.kind,
            number=row.number,
            state=row.state,
            subject_kind=row.subject_kind,
            subject=row.subject,
            made_at=row.made_at,
            made_by=row.made_by.printed_name,
            content_digest=row.content_digest,
            file_digest=row.file_digest,
            fates=fates,
        )

    def page(
        self, actor: Actor, *, after: str, limit: int, filters: Mapping[str, str], at: datetime
    ) -> KeysetPage[DocumentLine]:
        authorise_read(actor, self.reads)
        rows = Document.objects.filter(site_id=actor.site_id, **dict(filters))
        if after:
            rows = rows.filter(pk__lt=_key(after))
        found = list(rows.order_by("-pk")[: limit + 1])
        items = [
            DocumentLine(
                code=row.code,
                kind=row.kind,
                number=row.number,
                state=row.state,
                subject=row.subject,
                made_at=row.made_at,
            )
            for row in found[:limit]
        ]
        return KeysetPage(items=items, next_after=str(found[limit - 1].pk) if len(found) > limit else "")


def _key(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 16):
        raise BadInput.because("after", "is no key of this list", value=text[:40], accepted="next_after of a page")
    return int(text)


def file_of(actor: Actor, code: str, *, at: datetime) -> tuple[str, bytes]:
    """Return name and bytes of a document's file, checked against its digest; the look is recorded.

    Raises NotAllowed, NotThere, and Conflict when the file is not the one that was made.
    """
    authorise_read(actor, "document")
    row = find(actor, Document, code)
    if row.kind in NAMES_A_PATIENT:
        authorise_read(actor, "document with a name")
    try:
        data = read_file(row)
    except FileNotFoundError as error:
        raise NotThere.because(code, "the document's file is missing from the home", rule="file") from error
    patients = sorted(set(PATIENT.findall(json.dumps(row.content_text)))) or [row.subject[:20]]
    with transaction.atomic():
        for patient in patients:
            record_read(actor, patient=patient, view=f"document {row.code}", at=at)
    return f"{row.kind.replace(' ', '-')}-{row.number}.pdf", data


def pdf_answer(name: str, data: bytes) -> HttpResponse:
    """Return the response that carries a PDF."""
    answer = HttpResponse(data, content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{name}"'
    return answer


class FileView(APIView):
    """The file of one document."""

    @extend_schema(
        operation_id="document_file",
        summary="The PDF file of a document",
        tags=["document"],
        parameters=[OpenApiParameter("code", str, OpenApiParameter.PATH)],
        responses={(200, "application/pdf"): OpenApiTypes.BINARY, **PROBLEMS},
    )
    def get(self, request: Request, code: str) -> HttpResponse:
        return pdf_answer(*file_of(actor_in(request), code, at=clock.now()))
