"""The release record of a pack: everything that is shown, with every blocker, worked out from the records now."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from decimal import Decimal

from dosewright.ground.documents import count_originals, fate_of
from dosewright.ground.jurisdictions import Pack as LawPack
from dosewright.ground.law import law_in_use
from dosewright.ground.models import Document, DocumentIssue
from dosewright.ground.pure.errors import Refused
from labels.blockers import release_blockers
from labels.models import Pack, ReleaseRecord
from labels.queries.making import (
    People,
    batch_lines,
    batch_part,
    deviation_parts,
    lot_part,
    people_of_making,
    usernames,
    zone_part,
)
from labels.queries.on_label import (
    in_words,
    label_facts,
    legal_basis_of,
    local_day,
    printed_digest,
    read_kept_digest,
    units_per_dose,
    units_per_dose_of,
)
from labels.records import (
    AlertPart,
    BatchReview,
    CountPart,
    LabelPart,
    LawPart,
    LinePart,
    OrderPart,
    PackPart,
    PeoplePart,
    ReleaseView,
    ScanPart,
    UnitPart,
)
from labels.states import label_difference
from prescriptions.queries import LineFacts, line_facts, order_facts
from prescriptions.queries.facts import standing_alerts
from printing.plates.models import Zone

LABEL = "label"
UG_PER_MG = 1000
NG_PER_MG = 1_000_000


def release_view(pack: Pack, *, releaser: str, at: datetime) -> ReleaseView:
    """Return the release record of a pack for a releaser [user name], its blockers included."""
    shown = _without_blockers(pack, at=at)
    today = local_day(at, pack.site)
    return replace(shown, blockers=release_blockers(shown, today=today, releaser=releaser))


def batch_review(zone: Zone, *, at: datetime) -> BatchReview:
    """Return the batch record of one zone as a pharmacist reviews it before packing."""
    assert zone.line is not None
    line = line_facts(zone.line.code)
    return BatchReview(
        zone=zone_part(zone),
        batch=batch_part(zone.batch),
        order=order_part(line.order),
        line=line_part(line, units_per_dose_of(zone)),
        resin_lot=lot_part(zone, at=at),
        run=batch_lines(zone),
        deviations=deviation_parts(zone),
    )


def people_of_pack(pack: Pack) -> tuple[People, frozenset[int]]:
    """Return who made and tested, and who packed: started, filled, labelled, scanned or closed the pack."""
    packers = {pack.line_clearance_by_id, *pack.contents.values_list("by_id", flat=True)}
    if pack.packed_by_id is not None:
        packers.add(pack.packed_by_id)
    labels = Document.objects.filter(site_id=pack.site_id, kind=LABEL, subject=pack.code)
    packers |= set(labels.filter(state=Document.ORIGINAL).values_list("made_by_id", flat=True))
    packers |= set(DocumentIssue.objects.filter(document__in=labels).values_list("by_id", flat=True))
    scan = getattr(pack, "second_scan", None)
    if scan is not None:
        packers.add(scan.by_id)
    return people_of_making(pack.zone), frozenset(packers)


def order_part(order_code: str) -> OrderPart:
    """Return an order as the release record shows it."""
    order = order_facts(order_code)
    alerts = tuple(
        AlertPart(code=one.code, rule=one.rule, severity=one.severity, message=one.message, reason=one.reason)
        for one in standing_alerts(order_code)
    )
    return OrderPart(
        code=order.code,
        version=order.version,
        state=order.state,
        digest=order.digest,
        patient=order.patient,
        substance=order.substance,
        reason=order.reason,
        prescriber=order.prescriber_name or order.prescriber_registration,
        signed_by=tuple(f"{one.printed_name}: {one.meaning}" for one in order.signatures),
        alerts=alerts,
    )


def line_part(line: LineFacts, per_dose: int) -> LinePart:
    """Return a dose line as the release record shows it."""
    return LinePart(
        code=line.code,
        order_version=line.order_version,
        dose_mg=line.dose_mg,
        units_per_dose=per_dose,
        times=line.times,
        taken=line.taken,
        administrations=line.administrations,
        starts_on=line.starts_on,
        ends_on=line.ends_on,
        supply=line.supply,
        supplies=line.supplies,
    )


def label_parts(pack: Pack) -> tuple[LabelPart, ...]:
    """Return the label originals of a pack and what became of each."""
    rows = Document.objects.filter(
        site_id=pack.site_id, kind=LABEL, subject=pack.code, state=Document.ORIGINAL
    ).order_by("pk")
    return tuple(
        LabelPart(
            code=row.code,
            number=row.number,
            became=fate_of(row),
            content_digest=row.content_digest,
            file_digest=row.file_digest,
        )
        for row in rows
    )


def label_count(pack: Pack) -> CountPart:
    """Return the reconciliation of a pack's label originals."""
    count = count_originals(pack.site_id, LABEL, pack.code)
    return CountPart(
        issued=count.issued,
        applied=count.applied,
        spoiled=count.spoiled,
        returned=count.returned,
        difference=label_difference(
            issued=count.issued, applied=count.applied, spoiled=count.spoiled, returned=count.returned
        ),
    )


def scan_part(pack: Pack) -> ScanPart | None:
    """Return the second person's scan, None before it."""
    scan = getattr(pack, "second_scan", None)
    if scan is None:
        return None
    return ScanPart(
        zone=scan.zone_code, container=scan.container_code, label=scan.label_code, by=scan.by.username, at=scan.at
    )


def law_part(pack: Pack) -> LawPart:
    """Return the law pack in use and the order's legal basis, or why there is none."""
    law: LawPack | None = None
    try:
        law = law_in_use(pack.site_id)
        basis = legal_basis_of(order_facts(pack.order.code).legal_basis, law)
    except Refused as refused:
        one = refused.refusals[0]
        return LawPart(pack=law.id if law else "", basis="", why_not=f"{one.field}: {one.message}")
    return LawPart(pack=law.id, basis=basis, why_not="")


def _without_blockers(pack: Pack, *, at: datetime) -> ReleaseView:
    per_dose = units_per_dose(pack)
    making, packers = people_of_pack(pack)
    return ReleaseView(
        pack=_pack_part(pack),
        order=order_part(pack.order.code),
        line=line_part(line_facts(pack.line.code), per_dose),
        batch=batch_part(pack.batch),
        zone=zone_part(pack.zone),
        units=_units(pack),
        resin_lot=lot_part(pack.zone, at=at),
        run=batch_lines(pack.zone),
        deviations=deviation_parts(pack.zone),
        labels=label_parts(pack),
        label_count=label_count(pack),
        label_difference=_label_difference(pack),
        second_scan=scan_part(pack),
        law=law_part(pack),
        people=PeoplePart(
            makers=usernames(making.makers),
            testers=usernames(making.testers),
            packers=usernames(packers),
            closers=usernames(making.closers),
        ),
    )


def _pack_part(pack: Pack) -> PackPart:
    return PackPart(
        code=pack.code,
        state=pack.state,
        version=pack.version,
        wanted=pack.wanted,
        container_lot=pack.container_lot,
        use_by_date=pack.use_by_date,
        use_by_limit=pack.use_by_limit,
        started_at=pack.started_at,
        packed_by=pack.packed_by.username if pack.packed_by else "",
        packed_at=pack.packed_at,
        was_released=pack.release_records.filter(outcome=ReleaseRecord.RELEASED).exists(),
    )


def _units(pack: Pack) -> tuple[UnitPart, ...]:
    return tuple(
        UnitPart(
            code=row.unit.code,
            number=row.unit.number,
            state=row.unit.state,
            predicted_mass_mg=Decimal(row.unit.predicted_mass_ug) / UG_PER_MG,
            predicted_content_mg=Decimal(row.unit.predicted_content_ng) / NG_PER_MG,
        )
        for row in pack.contents.select_related("unit").order_by("unit__number")
    )


def _label_difference(pack: Pack) -> str:
    """Return how the applied label differs from what it would say with the records as they are now."""
    applied = [one for one in label_parts(pack) if one.became == DocumentIssue.APPLIED]
    if len(applied) != 1:
        return ""
    document = Document.objects.get(code=applied[0].code)
    try:
        law = law_in_use(pack.site_id)
        facts = label_facts(
            pack,
            code=document.code,
            number=document.number,
            count=pack.contents.count(),
            on=local_day(document.made_at, pack.site),
            law=law,
        )
        now = printed_digest(in_words(facts, law=law, site=pack.site, state=document.state))
    except Refused as refused:
        return f"{refused.refusals[0].field}: {refused.refusals[0].message}"
    return "" if now == read_kept_digest(document.content_text) else "the label's text"
