"""What is shown of packs and of their release, as frozen facts: patients are codes, and nothing here is a row."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from printing.runs.content import RecordLine, ZoneEvidence


@dataclass(frozen=True, slots=True, kw_only=True)
class Blocker:
    """One thing that stands in the way of release: a stable code, what was found, in words."""

    code: str
    text: str
    value: str = ""
    accepted: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PackPart:
    """The pack itself."""

    code: str
    state: str
    version: int
    wanted: int
    container_lot: str
    use_by_date: date
    use_by_limit: str
    started_at: datetime
    packed_by: str
    packed_at: datetime | None
    was_released: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertPart:
    """One alert that the latest screens raise on the order, and why it may go on despite it."""

    code: str
    rule: str
    severity: str
    message: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderPart:
    """The order and its clinical check; that the releaser verified it is allowed, and shown."""

    code: str
    version: int
    state: str
    digest: str
    patient: str
    substance: str
    reason: str
    prescriber: str
    signed_by: tuple[str, ...]
    alerts: tuple[AlertPart, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LinePart:
    """The dose line in the pack."""

    code: str
    order_version: int
    dose_mg: Decimal
    units_per_dose: int
    times: tuple[str, ...]
    taken: str
    administrations: int
    starts_on: date
    ends_on: date
    supply: int
    supplies: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LotPart:
    """The resin lot: its strength, its state now, and whether it was in date when the batch was printed."""

    code: str
    state: str
    formulation: str
    formulation_number: int
    strength_mg_g: Decimal | None
    u_strength_mg_g: Decimal | None
    fraction_of_nominal: Decimal | None
    verdict: str
    expires_on: date | None
    ingredient_lots: tuple[str, ...]
    blockers: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchPart:
    """The print batch and its plan."""

    code: str
    kind: str
    state: str
    printer: str
    profile: str
    layer_um: int
    layers: int
    plan: str
    plan_digest: str
    plate_file_sha256: str
    printed_on: date


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitPart:
    """One unit in the pack, with its predicted mass and content."""

    code: str
    number: int
    state: str
    predicted_mass_mg: Decimal
    predicted_content_mg: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictPart:
    """The last judgement of a zone; ``digest`` names the exact text of what it rested on."""

    outcome: str
    by: str
    at: datetime
    digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ZonePart:
    """The zone, its verdict, and the evidence on it as it stands now."""

    code: str
    state: str
    wanted: int
    spares: int
    unaccounted_on_batch: int
    approved_by: str
    verdict: VerdictPart | None
    evidence: ZoneEvidence


@dataclass(frozen=True, slots=True, kw_only=True)
class DeviationPart:
    """One deviation of batch, zone or lot."""

    code: str
    kind: str
    state: str
    holds: bool
    text: str
    effect: str
    decision: str
    closed_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelPart:
    """One label original and what became of it."""

    code: str
    number: str
    became: str
    content_digest: str
    file_digest: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CountPart:
    """The reconciliation of the label originals: issued = applied + spoiled + returned, one of them applied."""

    issued: int
    applied: int
    spoiled: int
    returned: int
    difference: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanPart:
    """The second person's scan."""

    zone: str
    container: str
    label: str
    by: str
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class LawPart:
    """The law pack in use and the legal basis of the order; ``why_not`` says what is missing."""

    pack: str
    basis: str
    why_not: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PeoplePart:
    """Who took part, by user name: none of them may release."""

    makers: tuple[str, ...]
    testers: tuple[str, ...]
    packers: tuple[str, ...]
    closers: tuple[str, ...]

    @property
    def by_part(self) -> Mapping[str, tuple[str, ...]]:
        """Names by what they did, as the roles table calls it."""
        return {"maker": self.makers, "tester": self.testers, "packer": self.packers, "closer": self.closers}


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleaseView:
    """Everything that is shown when a pack is to be released, and signed; every blocker there is.

    ``label_difference`` says how the applied label differs from what it would say today.
    """

    pack: PackPart
    order: OrderPart
    line: LinePart
    batch: BatchPart
    zone: ZonePart
    units: tuple[UnitPart, ...]
    resin_lot: LotPart
    run: tuple[RecordLine, ...]
    deviations: tuple[DeviationPart, ...]
    labels: tuple[LabelPart, ...]
    label_count: CountPart
    label_difference: str
    second_scan: ScanPart | None
    law: LawPart
    people: PeoplePart
    blockers: tuple[Blocker, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchReview:
    """The batch record of one zone as the pharmacist reviews it before packing."""

    zone: ZonePart
    batch: BatchPart
    order: OrderPart
    line: LinePart
    resin_lot: LotPart
    run: tuple[RecordLine, ...]
    deviations: tuple[DeviationPart, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PackRow:
    """One line of the list of packs."""

    code: str
    state: str
    order: str
    line: str
    batch: str
    zone: str
    units: int
    use_by_date: date


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperPart:
    """One document of a pack."""

    code: str
    kind: str
    number: str
    state: str
    became: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RemarkPart:
    """Why a pack was rejected, quarantined, taken back or destroyed."""

    what: str
    text: str
    by: str
    at: datetime
    witness: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PackView:
    """One pack as people see it; ``blockers`` are those of release while it is packed or being packed."""

    code: str
    state: str
    version: int
    order: str
    line: str
    batch: str
    zone: str
    wanted: int
    units: int
    unit_codes: tuple[str, ...]
    container_lot: str
    use_by_date: date
    use_by_limit: str
    started_at: datetime
    started_by: str
    packed_at: datetime | None
    packed_by: str
    label_count: CountPart
    documents: tuple[PaperPart, ...]
    second_scan: ScanPart | None
    released_by: str
    released_at: datetime | None
    supplied_to: str
    supplied_at: datetime | None
    remarks: tuple[RemarkPart, ...]
    blockers: tuple[Blocker, ...]
