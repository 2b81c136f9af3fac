"""Verifies the audit trail from its rows alone: every digest, every place in the chain, every head.

Each fault is located by site and place in the chain. The check reads the rows as they lie in the database
and trusts none of the code that wrote them.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field

from dosewright.ground.act import GENESIS
from dosewright.ground.models import AuditEntry, Chain, Document, PackInUse, Signature, Site
from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.reads import read_faults
from dosewright.ground.triggers import missing_triggers


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that is not as it was written: where, and what is wrong."""

    where: str
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Findings:
    """What the verification read and found."""

    entries: int
    signatures: int
    chains: list[dict[str, object]]
    faults: list[Fault] = field(default_factory=list)

    @property
    def head(self) -> str:
        """One digest over the heads of all chains, to be kept outside."""
        return digest_of(canonical_text(self.chains))


def verify(anchors: dict[str, tuple[int, str]] | None = None) -> Findings:
    """Verify all chains, signatures, sealed reads and triggers.

    `anchors` maps a site code to a length and head that were kept outside; a chain that no longer contains
    an anchor was cut or replaced, which cannot be seen from inside.
    """
    faults = [Fault(where=name, what="append-only trigger is missing") for name in sorted(missing_triggers())]
    chains: list[dict[str, object]] = []
    entries = 0
    told: set[str] = set()
    for site in Site.objects.order_by("code"):
        length, head = 0, GENESIS
        heads: dict[int, str] = {0: GENESIS}
        for fault, seq, digest, signature in _walk(site):
            if fault is not None:
                faults.append(fault)
            length, head = seq, digest
            heads[seq] = digest
            told.add(signature)
            entries += 1
        faults += _head_faults(site, length, head)
        faults += _anchor_faults(site.code, heads, (anchors or {}).get(site.code))
        faults += [Fault(where=where, what=what) for where, what in read_faults(site)]
        chains.append({"site": site.code, "length": length, "head": head})
    signatures, more = _signatures(told)
    return Findings(entries=entries, signatures=signatures, chains=chains, faults=faults + more + _documents())


def _walk(site: Site) -> Iterator[tuple[Fault | None, int, str, str]]:
    """Yield each entry with the first fault it has, its place, its digest and the signature it tells of."""
    expected, previous = 1, GENESIS
    rows = AuditEntry.objects.filter(site=site).order_by("seq").select_related("actor")
    for entry in rows.iterator(chunk_size=2000):
        yield (
            _entry_fault(site, entry, expected, previous),
            entry.seq,
            entry.digest,
            _signature_in(entry.text),
        )
        expected, previous = entry.seq + 1, entry.digest


def _signature_in(text: str) -> str:
    try:
        return str(json.loads(text).get("notes", {}).get("signature", ""))
    except (ValueError, AttributeError):
        return ""


def _entry_fault(site: Site, entry: AuditEntry, expected: int, previous: str) -> Fault | None:
    where = f"{site.code} entry {entry.seq}"
    if entry.seq != expected:
        return Fault(where=where, what=f"entry {expected} is missing before it")
    if entry.previous != previous:
        return Fault(where=where, what="does not continue the entry before it")
    if digest_of(entry.previous + "\n" + entry.text) != entry.digest:
        return Fault(where=where, what="its text is not the text that was hashed")
    try:
        said = json.loads(entry.text)
    except ValueError:
        return Fault(where=where, what="its text cannot be read")
    columns = {
        "seq": entry.seq,
        "site": site.code,
        "at": entry.at,
        "actor": entry.actor.username,
        "action": entry.action,
        "outcome": entry.outcome,
        "subject": entry.subject,
    }
    for name, value in json.loads(canonical_text(columns)).items():
        if said.get(name) != value:
            return Fault(where=where, what=f"its column {name} differs from its text")
    return None


def _head_faults(site: Site, length: int, head: str) -> list[Fault]:
    chain = Chain.objects.filter(site=site).first()
    kept = (chain.length, chain.head) if chain else (0, GENESIS)
    if kept == (length, head):
        return []
    return [Fault(where=f"{site.code} head", what=f"says {kept[0]} entries where {length} stand, or another digest")]


def _anchor_faults(site: str, heads: dict[int, str], anchor: tuple[int, str] | None) -> list[Fault]:
    if anchor is None or heads.get(anchor[0]) == anchor[1]:
        return []
    return [Fault(where=f"{site} entry {anchor[0]}", what="is not the entry that was anchored outside")]


def _signatures(told: set[str]) -> tuple[int, list[Fault]]:
    count, faults = 0, []
    for one in Signature.objects.select_related("signer").order_by("pk").iterator(chunk_size=2000):
        count += 1
        sealed = digest_of(
            canonical_text(
                {
                    "signer": one.signer.code,
                    "printed_name": one.printed_name,
                    "action": one.action,
                    "meaning": one.meaning,
                    "subject": one.subject,
                    "subject_version": one.subject_version,
                    "at": one.at,
                    "shown": digest_of(one.shown_text),
                }
            )
        )
        if sealed != one.digest or digest_of(one.shown_text) != one.shown_digest:
            faults.append(Fault(where=f"signature {one.pk} on {one.subject}", what="is not what was signed"))
        elif one.digest not in told:
            faults.append(Fault(where=f"signature {one.pk} on {one.subject}", what="no audit entry tells of it"))
    return count, faults


def _documents() -> list[Fault]:
    faults = [
        Fault(where=f"document {one.code}", what="its content is not the content that was hashed")
        for one in Document.objects.order_by("pk").iterator(chunk_size=500)
        if digest_of(one.content_text) != one.content_digest
    ]
    orphans = PackInUse.objects.exclude(site_id__in=Site.objects.values("pk"))
    return faults + [Fault(where=f"pack in use {one.pk}", what="belongs to no site") for one in orphans]
