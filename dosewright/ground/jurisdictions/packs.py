"""What a law pack holds, and whether a pharmacist may sign it into use."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TypeVar

from dosewright.ground.pure.errors import BadInput, NotThere, Refusal
from dosewright.ground.pure.notation import MicroWord

READ = "read"
TO_BE_CONFIRMED = "to be confirmed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """A law, standard or guide: what it asks of this service, and whether somebody read it.

    ``mandatory`` says that a pack cannot be signed while the item is unconfirmed.
    """

    id: str
    title: str
    number: str
    section: str
    asks: str
    in_force_since: str
    confirmed: str
    mandatory: bool
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Particular:
    """Something a label must show; ``id`` is a field of the label's content."""

    id: str
    instrument: str
    confirmed: str
    mandatory: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Statement:
    """A sentence that stands on labels, by language; ``instrument`` is empty for the house's own wording."""

    id: str
    instrument: str
    confirmed: str
    mandatory: bool
    texts: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class LegalBasis:
    """On what footing an order is prepared, and what that footing demands (ids of `DEMANDS`)."""

    id: str
    name: str
    instrument: str
    confirmed: str
    demands: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpiryCap:
    """The most days [d] a preparation of one class may be kept where no study allows else.

    Water activity ``least_aw`` <= aw < ``below_aw``; ``kind`` tells classes of the same activity apart.
    """

    kind: str
    least_aw: Decimal
    below_aw: Decimal
    days: int
    storage: str
    instrument: str
    confirmed: str


_Item = TypeVar("_Item", Instrument, LegalBasis, Statement)

DEMANDS: Mapping[str, str] = {
    "prescription_before_start": "a valid prescription is on file before printing starts",
    "identified_patient": "the order names one patient",
    "supervising_pharmacist": "a named pharmacist supervises and is on duty",
    "unsolicited_order": "the order was not solicited",
    "special_need": "the prescriber states the patient's special need",
    "specification": "the prescriber's specification and its version are recorded",
    "manufacturers_licence": "the licence number is recorded",
    "master_file": "the master file and its version are recorded",
    "not_a_copy": "the clinical difference from a licensed product is stated",
    "records_five_years": "source, recipient, dates, quantity and batch are kept for five years",
    "no_promotion": "no price list and no advertising",
    "pharmacopoeia_monograph": "the preparation follows a pharmacopoeia's prescription",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Pack:
    """One jurisdiction's rules as of one version; immutable once a site has signed it."""

    code: str
    version: str
    name: str
    valid_from: date
    is_invented: bool
    languages: tuple[str, ...]
    micro_word: MicroWord
    expiry_wording: str
    unlicensed_statement: str
    instruments: tuple[Instrument, ...]
    label_particulars: tuple[Particular, ...]
    statements: tuple[Statement, ...]
    bases: tuple[LegalBasis, ...]
    expiry_caps: tuple[ExpiryCap, ...]
    wordings: Mapping[str, Mapping[str, str]]

    @property
    def id(self) -> str:
        """The pack's name on paper: code and version."""
        return f"{self.code} {self.version}"

    def wording(self, language: str) -> Mapping[str, str]:
        """Return the words of `language`; raises NotThere when the pack has none."""
        if language not in self.wordings:
            raise NotThere.because(
                "language",
                f"law pack {self.id} has no words of this language",
                value=language,
                accepted=", ".join(sorted(self.wordings)),
            )
        return self.wordings[language]

    def instrument(self, identifier: str) -> Instrument:
        """Return the instrument `identifier`; raises NotThere."""
        return self._one(self.instruments, identifier, "instrument")

    def basis(self, identifier: str) -> LegalBasis:
        """Return the legal basis `identifier`; raises NotThere."""
        return self._one(self.bases, identifier, "legal basis")

    def statement(self, identifier: str) -> Statement:
        """Return the statement `identifier`; raises NotThere."""
        return self._one(self.statements, identifier, "statement")

    def sentence(self, identifier: str, language: str) -> str:
        """Return the text of statement `identifier` in `language`; raises NotThere."""
        texts = self.statement(identifier).texts
        if language not in texts:
            raise NotThere.because(
                identifier,
                f"law pack {self.id} does not say this in the language",
                value=language,
                accepted=", ".join(sorted(texts)),
            )
        return texts[language]

    def cap_days(self, *, water_activity: Decimal, kind: str) -> int | None:
        """Return the most days [d] for a preparation without its own study, None when the pack sets no cap.

        Parameters: water_activity [fraction 0 to 1]; kind, a class of the pack. Raises BadInput when the pack
        sets caps and none covers the class.
        """
        if not self.expiry_caps:
            return None
        for cap in self.expiry_caps:
            if cap.kind == kind and cap.least_aw <= water_activity < cap.below_aw:
                return cap.days
        raise BadInput(
            Refusal(
                field="kind",
                value=f"{kind}, aw {water_activity}",
                rule="expiry-cap",
                message=f"law pack {self.id} has no expiry cap for this class",
                accepted=", ".join(f"{cap.kind} (aw {cap.least_aw} to {cap.below_aw})" for cap in self.expiry_caps),
            )
        )

    def _one(self, items: tuple[_Item, ...], identifier: str, kind: str) -> _Item:
        for item in items:
            if item.id == identifier:
                return item
        raise NotThere.because(
            kind,
            f"law pack {self.id} has no such {kind}",
            value=identifier,
            accepted=", ".join(item.id for item in items),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """An item that keeps a pack from being signed."""

    item: str
    message: str


def signable(pack: Pack) -> tuple[Finding, ...]:
    """Return what keeps `pack` from being signed into use; empty when nothing does."""
    findings = [
        Finding(item=f"instrument {one.id}", message=f"{one.title}: {one.confirmed}")
        for one in pack.instruments
        if one.mandatory and one.confirmed != READ
    ]
    findings += [
        Finding(item=f"label particular {one.id}", message=f"after {one.instrument}: {one.confirmed}")
        for one in pack.label_particulars
        if one.mandatory and one.confirmed != READ
    ]
    findings += [
        Finding(item=f"statement {one.id}", message=one.confirmed)
        for one in pack.statements
        if one.mandatory and one.confirmed != READ
    ]
    if not any(one.confirmed == READ and pack.instrument(one.instrument).confirmed == READ for one in pack.bases):
        findings.append(Finding(item="legal basis", message="no basis is confirmed"))
    return tuple(findings)
