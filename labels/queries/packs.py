"""Reading packs: rows for services, the list and the page for people."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db.models import Count, QuerySet

from dosewright.ground.documents import fate_of
from dosewright.ground.models import Document
from dosewright.ground.pure.codes import parse
from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.roles import Actor, authorise_read
from dosewright.ground.rest import KeysetPage
from dosewright.ground.scope import find
from labels.models import Pack, ReleaseRecord
from labels.queries.release import label_count, release_view, scan_part
from labels.records import PackRow, PackView, PaperPart, RemarkPart
from labels.states import DESTROYED, PACKED, PACKING, STATES
from printing.plates.models import PlacedUnit, Zone

ZoneRow = Zone
"""The row of a zone, for services of this app."""

RELATED = (
    "site",
    "order",
    "line",
    "batch__site",
    "batch__printer",
    "batch__profile",
    "batch__formulation",
    "batch__resin_lot",
    "zone__batch__site",
    "zone__batch__printer",
    "zone__batch__profile",
    "zone__batch__resin_lot",
    "zone__sized",
    "packed_by",
    "line_clearance_by",
)


def tidy_code(text: str) -> str:
    """Return a code as it stands in the record of acts, whatever was typed: capitals, no outer blanks."""
    return text.strip().upper()[:40]


def pack_row(actor: Actor, code: str) -> Pack:
    """Return a pack's row at the actor's site with what hangs on it; raises BadInput, NotThere."""
    tidy = parse(code, kind="pack")[1]
    return _fresh(find(actor, Pack, tidy).pk)


def _fresh(pk: int) -> Pack:
    return Pack.objects.select_related(*RELATED).get(pk=pk)


def zone_to_pack(actor: Actor, code: str) -> Zone:
    """Return a zone's row with all that packing needs; raises BadInput, NotThere, and BadInput for a test zone."""
    tidy = parse(code, field="zone", kind="zone")[1]
    zone = Zone.objects.select_related(
        "batch__site",
        "batch__printer",
        "batch__profile",
        "batch__formulation",
        "batch__resin_lot",
        "line__order",
        "sized",
    ).get(pk=find(actor, Zone, tidy, path="batch__site_id").pk)
    if zone.line is None or zone.batch.kind != "product":
        raise BadInput.because(
            "zone", "holds test or development units, never for a patient", value=tidy, accepted="a zone of a dose line"
        )
    return zone


def standing_pack_of(zone: Zone) -> Pack | None:
    """Return the pack that a zone's units went into, None when there is none or it was destroyed."""
    return Pack.objects.filter(zone=zone).exclude(state=DESTROYED).first()


def units_in(pack: Pack) -> list[PlacedUnit]:
    """Return the rows of the units in a pack, in the order of their numbers."""
    return list(PlacedUnit.objects.filter(packed_in__pack=pack).order_by("number"))


def packs(
    actor: Actor, *, after: str = "", limit: int = 50, state: str = "", order: str = "", batch: str = ""
) -> KeysetPage[PackRow]:
    """Return a page of packs, the newest first; raises NotAllowed, BadInput for an unknown state."""
    authorise_read(actor, "pack")
    rows = Pack.objects.filter(site_id=actor.site_id).select_related("order", "line", "batch", "zone").order_by("-pk")
    if after:
        rows = rows.filter(pk__lt=int(after)) if after.isdigit() else rows.none()
    if state:
        if state not in STATES:
            raise BadInput.because("state", "is no state of a pack", value=state[:40], accepted=", ".join(STATES))
        rows = rows.filter(state=state)
    rows = rows.filter(order__code=order) if order else rows
    rows = rows.filter(batch__code=batch) if batch else rows
    found = list(rows.annotate(units=Count("contents"))[: limit + 1])
    return KeysetPage(
        items=tuple(_row(row, row.units) for row in found[:limit]),
        next_after=str(found[limit - 1].pk) if len(found) > limit else "",
    )


def pack(actor: Actor, code: str, *, at: datetime) -> PackView:
    """Return one pack; blockers are those that a release by the actor would meet. Raises NotAllowed, NotThere."""
    authorise_read(actor, "pack")
    row = pack_row(actor, code)
    contents = list(row.contents.order_by("unit__number").values_list("unit__code", flat=True))
    release = row.release_records.filter(outcome=ReleaseRecord.RELEASED).select_related("by").first()
    supply = getattr(row, "supply", None)
    blocked = row.state in {PACKING, PACKED}
    return PackView(
        code=row.code,
        state=row.state,
        version=row.version,
        order=row.order.code,
        line=row.line.code,
        batch=row.batch.code,
        zone=row.zone.code,
        wanted=row.wanted,
        units=len(contents),
        unit_codes=tuple(contents),
        container_lot=row.container_lot,
        use_by_date=row.use_by_date,
        use_by_limit=row.use_by_limit,
        started_at=row.started_at,
        started_by=row.line_clearance_by.printed_name,
        packed_at=row.packed_at,
        packed_by=row.packed_by.printed_name if row.packed_by else "",
        label_count=label_count(row),
        documents=papers_of(actor.site_id, row.code),
        second_scan=scan_part(row),
        released_by=release.by.printed_name if release else "",
        released_at=release.at if release else None,
        supplied_to=supply.to_whom if supply else "",
        supplied_at=supply.at if supply else None,
        remarks=_remarks(row),
        blockers=release_view(row, releaser=actor.username, at=at).blockers if blocked else (),
    )


def papers_of(site_id: int, subject: str) -> tuple[PaperPart, ...]:
    """Return the documents of a subject, drafts and originals, in the order in which they were made."""
    rows: QuerySet[Document] = Document.objects.filter(site_id=site_id, subject=subject).order_by("pk")
    return tuple(
        PaperPart(code=row.code, kind=row.kind, number=row.number, state=row.state, became=fate_of(row)) for row in rows
    )


def _row(row: Pack, units: int) -> PackRow:
    return PackRow(
        code=row.code,
        state=row.state,
        order=row.order.code,
        line=row.line.code,
        batch=row.batch.code,
        zone=row.zone.code,
        units=units,
        use_by_date=row.use_by_date,
    )


def _remarks(row: Pack) -> tuple[RemarkPart, ...]:
    found: Sequence[RemarkPart] = [
        RemarkPart(
            what=one.what,
            text=one.text,
            by=one.by.printed_name,
            at=one.at,
            witness=one.witness.printed_name if one.witness else "",
        )
        for one in row.remarks.select_related("by", "witness")
    ]
    back = getattr(row, "taken_back", None)
    if back is not None:
        text = f"{back.units} came back: {back.reason}"
        found = [RemarkPart(what="taken back", text=text, by=back.by.printed_name, at=back.at), *found]
    return tuple(sorted(found, key=lambda one: one.at))
