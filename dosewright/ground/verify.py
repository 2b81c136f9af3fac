"""Verifies the audit trail from its rows alone: every digest, every place in the chain, every head, every row.

What is checked, and how each fault is located, stands in `offline_verifier`: the same code reads a database here and
an export elsewhere. It trusts none of the code that wrote the rows.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from dosewright.ground.export import one_moment, records, written
from dosewright.ground.offline_verifier import Verifier
from dosewright.ground.pure.canonical import canonical_text, digest_of


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
    rows: int
    chains: list[dict[str, object]]
    faults: list[Fault] = field(default_factory=list)

    @property
    def head(self) -> str:
        """One digest over the heads of all chains, to be kept outside."""
        return digest_of(canonical_text(self.chains))


Anchors = dict[str, list[tuple[int, str]]]


def verify(anchors: Anchors | None = None, *, export: Path | None = None, at: datetime | None = None) -> Findings:
    """Verify all chains, append-only rows, signatures, documents, sealed looks and triggers, as of one moment.

    `anchors` maps a site code to lengths and heads that were kept outside; a chain that no longer contains an anchor
    was cut or replaced, which cannot be seen from inside. What was read goes into the file `export` as well, with the
    time `at`. Raises FileExistsError.
    """
    verifier = Verifier(anchors)
    with one_moment():
        source = records(at=at)
        for record in written(source, export) if export else source:
            verifier.take(record)
    faults = [Fault(where=where, what=what) for where, what in verifier.end()]
    return Findings(
        entries=verifier.entries,
        signatures=verifier.signatures,
        rows=verifier.rows,
        chains=verifier.chains,
        faults=faults,
    )
