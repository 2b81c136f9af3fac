"""The pharmacist's release certificate: what must stand in it, what may never stand in it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from dosewright.ground.jurisdictions.cite import (
    LegalSentence,
    statements_for_draft,
    statements_for_original,
    uncited_law,
)
from dosewright.ground.jurisdictions.packs import Pack
from dosewright.ground.pure.errors import BadInput, Refusal, refuse_if_any
from labels.content import DRAFT, ORIGINAL
from labels.wording import Words, date_words

NOT_TESTED = "mass-derived content is an in-process estimate, not a content-uniformity result"
NON_STERILE = "Non-sterile preparation for oral use."
TITLE = "Pharmacist's release certificate"

REQUIRED_SECTIONS = ("order", "composition", "lots", "plan", "steps", "tests", "deviations")

_NEVER = re.compile(r"\bQP\b|qualified person|complies with (?:ph\. ?eur\.|usp|jp|2\.9\.40|<905>)", re.IGNORECASE)
"""Certification is a manufacturer's act (EU GMP Annex 16, from memory), and compliance is not shown by mass."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """A table: heads and rows of as many cells."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CertificateSection:
    """A part of the certificate; ``id`` is one of `REQUIRED_SECTIONS` or another."""

    id: str
    title: str
    facts: tuple[tuple[str, str], ...] = ()
    grid: Grid | None = None
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SignatureLine:
    """One signature; ``signed_at`` is in the site's zone, ``digest`` names the exact text signed."""

    printed_name: str
    profession: str
    meaning: str
    signed_at: datetime
    digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CertificateContent:
    """A certificate in words, as it prints."""

    number: str
    state: str
    language: str
    law_pack: str
    pack_code: str
    head_lines: tuple[str, ...]
    sections: tuple[CertificateSection, ...]
    not_tested: tuple[str, ...]
    legal: tuple[LegalSentence, ...]
    signatures: tuple[SignatureLine, ...]
    chain_head: str


def certificate_content(
    *,
    number: str,
    state: str,
    language: str,
    law: Pack,
    basis: str,
    instruments: Sequence[str],
    pack_code: str,
    head_lines: Sequence[str],
    sections: Sequence[CertificateSection],
    not_tested: Sequence[str],
    signatures: Sequence[SignatureLine],
    chain_head: str,
) -> CertificateContent:
    """Return the complete certificate of one pack under `law`.

    The sentence that mass is no uniformity result and "non-sterile" are always in it. Raises BadInput for a
    missing section, an original without signature, words that may never stand in it or a sentence of law
    without its pack; Blocked when an original would cite unconfirmed law.
    """
    cite = statements_for_original if state == ORIGINAL else statements_for_draft
    content = CertificateContent(
        number=number,
        state=state,
        language=language,
        law_pack=law.id,
        pack_code=pack_code,
        head_lines=(*head_lines, NON_STERILE),
        sections=tuple(sections),
        not_tested=(f"Not tested: {NOT_TESTED}.", *not_tested),
        legal=cite(law, basis=basis, instruments=instruments),
        signatures=tuple(signatures),
        chain_head=chain_head,
    )
    refuse_if_any(BadInput, _faults(content, law))
    return content


def may_stand(text: str, law: Pack) -> bool:
    """Say whether a text that somebody typed may stand on a certificate: no law uncited, no certification claimed."""
    return not _NEVER.search(text) and not uncited_law(law, (text,))


def signed_at_words(at: datetime, words: Words) -> str:
    """Return a signature's time with its zone: "3 March 2026, 14:05:33 Europe/Lisbon (UTC+00:00)".

    Raises BadInput for a time without a zone. Source: 21 CFR 11.50 asks for date and time on any printout.
    """
    if at.tzinfo is None or at.utcoffset() is None:
        raise BadInput(Refusal(field="signed_at", value=at.isoformat(), message="has no time zone", rule="signature"))
    zone = getattr(at.tzinfo, "key", None) or at.tzname() or ""
    offset = at.strftime("%z")
    return f"{date_words(at.date(), words)}, {at:%H:%M:%S} {zone} (UTC{offset[:3]}:{offset[3:5]})"


def certificate_texts(content: CertificateContent) -> Iterator[str]:
    """Yield every string that stands on the certificate, sentences of law with their pack."""
    yield from content.head_lines
    for section in content.sections:
        yield section.title
        yield from section.remarks
        yield from (text for row in section.facts for text in row)
        if section.grid:
            yield from section.grid.heads
            yield from (cell for row in section.grid.rows for cell in row)
    yield from content.not_tested
    yield from (str(one) for one in content.legal)
    yield from (text for one in content.signatures for text in (one.printed_name, one.profession, one.meaning))


def _faults(content: CertificateContent, law: Pack) -> list[Refusal]:
    there = {section.id for section in content.sections}
    texts = list(certificate_texts(content))
    faults = [
        Refusal(field=name, message="the certificate must have this section", rule="certificate")
        for name in REQUIRED_SECTIONS
        if name not in there
    ]
    faults += [
        Refusal(field="text", value=text[:80], message="may never stand on this certificate", rule="never-said")
        for text in texts
        if _NEVER.search(text)
    ]
    faults += [
        Refusal(field="text", value=text[:80], message="speaks of law without its law pack", rule="uncited-law")
        for text in uncited_law(law, texts)
    ]
    return faults + _signature_faults(content)


def _signature_faults(content: CertificateContent) -> list[Refusal]:
    faults = []
    if content.state not in {DRAFT, ORIGINAL}:
        faults.append(
            Refusal(
                field="state", value=content.state, message="is no state of a certificate", accepted="draft or original"
            )
        )
    if content.state == ORIGINAL and not content.signatures:
        faults.append(Refusal(field="signatures", message="an original is signed", rule="signature"))
    for one in content.signatures:
        blank = [name for name in ("printed_name", "meaning", "digest") if not getattr(one, name).strip()]
        faults += [
            Refusal(field=name, message="a signature shows it (21 CFR 11.50 as benchmark)", rule="signature")
            for name in blank
        ]
        if one.signed_at.tzinfo is None:
            faults.append(Refusal(field="signed_at", message="has no time zone", rule="signature"))
    return faults
