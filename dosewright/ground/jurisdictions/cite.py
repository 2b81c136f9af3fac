"""Sentences of law for paper: each carries its law pack, and nothing unconfirmed reaches an original."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from dosewright.ground.jurisdictions.packs import READ, Instrument, LegalBasis, Pack
from dosewright.ground.pure.errors import Blocked, Refusal, refuse_if_any

_SPEAKS_OF_LAW = re.compile(
    r"\bActs?\b|\bCFR\b|\bU\.?S\.?C\b|\bDirective\b|\bRegulations?\b|\bSI 20\d\d|\bArt(?:icle|\.) ?\d|\bGMP\b"
    r"|\bOrdinance\b|\bstatut|\blawful|\bby law\b|\brequires by law\b|\b503[AB]\b",
)
"""Words that make a sentence one about law, besides the titles of the pack's own instruments."""

_SHORTEST_TITLE = 6
"""Shorter numbers ("GN 14") are found in sentences that are not about law."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LegalSentence:
    """A statement about law with the pack and item it stands on."""

    text: str
    pack: str
    item: str
    confirmed: str

    def __str__(self) -> str:
        mark = "" if self.confirmed == READ else ", TO BE CONFIRMED"
        return f"{self.text} [law pack {self.pack}, {self.item}{mark}]"


def instrument_sentence(pack: Pack, identifier: str) -> LegalSentence:
    """Return title, number, section and demand of one instrument as a sentence."""
    one = pack.instrument(identifier)
    place = ", ".join(part for part in (one.title, one.number, one.section) if part)
    return LegalSentence(text=f"{place}: {one.asks}", pack=pack.id, item=one.id, confirmed=one.confirmed)


def basis_sentence(pack: Pack, identifier: str) -> LegalSentence:
    """Return the legal basis of an order as a sentence; unconfirmed when it or its instrument is."""
    basis = pack.basis(identifier)
    one = pack.instrument(basis.instrument)
    place = ", ".join(part for part in (one.title, one.number, one.section) if part)
    return LegalSentence(
        text=f"Prepared as: {basis.name} ({place}).",
        pack=pack.id,
        item=basis.id,
        confirmed=_least_confirmed(basis, one),
    )


def statements_for_original(pack: Pack, *, basis: str, instruments: Sequence[str] = ()) -> tuple[LegalSentence, ...]:
    """Return the sentences of law for an original: the basis first, then `instruments`.

    Raises Blocked naming every item that is still to be confirmed.
    """
    sentences = statements_for_draft(pack, basis=basis, instruments=instruments)
    refuse_if_any(
        Blocked,
        [
            Refusal(
                field=one.item,
                value=one.confirmed,
                rule="unconfirmed-law",
                accepted=READ,
                message=f"law pack {pack.id} has not confirmed it, so it prints on no original",
            )
            for one in sentences
            if one.confirmed != READ
        ],
    )
    return sentences


def statements_for_draft(pack: Pack, *, basis: str, instruments: Sequence[str] = ()) -> tuple[LegalSentence, ...]:
    """Return the same sentences for a draft, unconfirmed ones marked as such."""
    return (basis_sentence(pack, basis), *(instrument_sentence(pack, one) for one in instruments))


def uncited_law(pack: Pack, texts: Iterable[str]) -> tuple[str, ...]:
    """Return those of `texts` that speak of law without carrying the pack they stand on."""
    titles = [name for one in pack.instruments for name in (one.title, one.number) if len(name) >= _SHORTEST_TITLE]
    marker = f"[law pack {pack.id}, "
    return tuple(
        text
        for text in texts
        if marker not in text and (_SPEAKS_OF_LAW.search(text) or any(name in text for name in titles))
    )


def _least_confirmed(basis: LegalBasis, instrument: Instrument) -> str:
    return basis.confirmed if instrument.confirmed == READ else instrument.confirmed
