"""Reading batches, zones and units."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db.models import Count

from dosewright.ground.pure.errors import NotThere
from dosewright.ground.pure.roles import Actor, authorise_read
from dosewright.ground.rest import KeysetPage
from dosewright.ground.scope import find
from printing.plates.content import BatchFacts, BatchRow, UnitFacts, ZoneFacts
from printing.plates.files.store import StoredFile, load_bytes
from printing.plates.models import PlacedUnit, PlateFile, PrintBatch, Zone


def orders_of_batch(batch_id: int) -> tuple[str, ...]:
    """Return the codes of the orders whose units stand on a batch."""
    codes = Zone.objects.filter(batch_id=batch_id, line__isnull=False).values_list("line__order__code", flat=True)
    return tuple(sorted(set(codes)))


def batch_row(actor: Actor, code: str) -> PrintBatch:
    """Return a batch's row, for services that move it; raises NotThere."""
    return find(actor, PrintBatch, code)


def zone_row(actor: Actor, code: str) -> Zone:
    """Return a zone's row with its batch, for services that move it; raises NotThere."""
    return Zone.objects.select_related("batch__formulation", "line").get(
        pk=find(actor, Zone, code, path="batch__site_id").pk
    )


def zones_of(batch_id: int) -> tuple[Zone, ...]:
    """Return the rows of a batch's zones in the order in which they are taken off."""
    return tuple(Zone.objects.filter(batch_id=batch_id).select_related("batch", "line").order_by("removal_order"))


def unit_rows(*zone_ids: int) -> tuple[PlacedUnit, ...]:
    """Return the rows of the units of some zones, by zone and number."""
    return tuple(PlacedUnit.objects.filter(zone_id__in=zone_ids).order_by("zone_id", "number"))


def batch_facts(code: str, *, site_id: int) -> BatchFacts:
    """Return one batch for services; raises NotThere."""
    batch = (
        PrintBatch.objects.filter(code=code, site_id=site_id)
        .select_related("printer", "formulation", "resin_lot", "profile")
        .first()
    )
    if batch is None:
        raise NotThere.because("batch", "no such print batch at this site", value=code[:40], rule="code")
    return _batch(batch)


def batch_state(code: str, *, site_id: int) -> str:
    """Return the state of a batch, read now; raises NotThere."""
    state = PrintBatch.objects.filter(code=code, site_id=site_id).values_list("state", flat=True).first()
    if state is None:
        raise NotThere.because("batch", "no such print batch at this site", value=code[:40], rule="code")
    return state


def batch(actor: Actor, code: str) -> BatchFacts:
    """Return one batch for people who may see batches; raises NotAllowed, NotThere."""
    authorise_read(actor, "batch")
    return batch_facts(code, site_id=actor.site_id)


def batches(
    actor: Actor, *, after: str = "", limit: int = 50, state: str = "", printer: str = ""
) -> KeysetPage[BatchRow]:
    """Return a page of batches, the newest first; ``after`` is the last row's key."""
    authorise_read(actor, "batch")
    rows = PrintBatch.objects.filter(site_id=actor.site_id).order_by("-pk")
    if after:
        rows = rows.filter(pk__lt=int(after)) if after.isdigit() else rows.none()
    if state:
        rows = rows.filter(state=state)
    if printer:
        rows = rows.filter(printer__code=printer)
    rows = rows.select_related("printer", "formulation", "resin_lot").annotate(
        units=Count("zones__units", distinct=True), zone_count=Count("zones", distinct=True)
    )
    found = list(rows[: limit + 1])
    items = tuple(
        BatchRow(
            code=row.code,
            state=row.state,
            printer=row.printer.code,
            formulation=f"{row.formulation.code}/{row.formulation.number}",
            resin_lot=row.resin_lot.code,
            layers=row.layers,
            seconds=row.seconds,
            units=row.units,
            zones=row.zone_count,
            ready_by=row.ready_by,
        )
        for row in found[:limit]
    )
    return KeysetPage(items=items, next_after=str(found[limit - 1].pk) if len(found) > limit else "")


def zone_facts(code: str, *, site_id: int) -> ZoneFacts:
    """Return one zone for services; raises NotThere."""
    zone = _zones(Zone.objects.filter(code=code, batch__site_id=site_id)).first()
    if zone is None:
        raise NotThere.because("zone", "no such zone at this site", value=code[:40], rule="code")
    return _zone(zone)


def zone(actor: Actor, code: str) -> ZoneFacts:
    """Return one zone for people who may see batches; raises NotAllowed, NotThere."""
    authorise_read(actor, "batch")
    return zone_facts(code, site_id=actor.site_id)


def unit_zone(code: str, *, site_id: int) -> str:
    """Return the code of the zone on which a unit stood; raises NotThere."""
    found = PlacedUnit.objects.filter(code=code, zone__batch__site_id=site_id).values_list("zone__code", flat=True)
    if not found:
        raise NotThere.because("unit", "no such unit at this site", value=code[:40], rule="code")
    return found[0]


def zones_of_line(line: str) -> tuple[ZoneFacts, ...]:
    """Return every zone in which units of a dose line were placed, the first planned first."""
    return tuple(_zone(one) for one in _zones(Zone.objects.filter(line__code=line)).order_by("pk"))


def running_batch(printer_code: str) -> str | None:
    """Return the batch that is printing on a printer, or None."""
    return (
        PrintBatch.objects.filter(printer__code=printer_code, state="printing").values_list("code", flat=True).first()
    )


def next_ready_batch(printer_code: str) -> str | None:
    """Return the batch that a printer is to be given next: the ready one that must be ready earliest."""
    return (
        PrintBatch.objects.filter(printer__code=printer_code, state="ready")
        .order_by("ready_by", "pk")
        .values_list("code", flat=True)
        .first()
    )


def plate_file_bytes(code: str, *, site_id: int) -> bytes:
    """Return the delivered plate file of a batch; raises NotThere, and Conflict when it is not what was written."""
    row = PlateFile.objects.filter(batch__code=code, batch__site_id=site_id).order_by("-pk").first()
    if row is None:
        raise NotThere.because("batch", "has no plate file", value=code[:40], accepted="a delivered batch", rule="code")
    path = Path(settings.DOSEWRIGHT_HOME) / row.path
    return load_bytes(path.parent, StoredFile(name=path.name, sha256=row.sha256, size=row.size_bytes))


def _batch(row: PrintBatch) -> BatchFacts:
    plate = json.loads(row.plan_text)
    times = plate.get("times") or {}
    file = PlateFile.objects.filter(batch=row).order_by("-pk").first()
    return BatchFacts(
        code=row.code,
        kind=row.kind,
        plan=row.plan,
        state=row.state,
        version=row.version,
        printer=row.printer.code,
        printer_mode=row.printer.mode,
        formulation=f"{row.formulation.code}/{row.formulation.number}",
        resin_lot=row.resin_lot.code,
        profile=row.profile.code,
        profile_name=row.profile.name,
        profile_sha256=row.profile.sha256,
        layer_um=row.layer_um,
        layers=row.layers,
        seconds=row.seconds,
        resin_ul=row.resin_ul,
        planned_at=row.planned_at,
        ready_by=row.ready_by,
        set_up_at=_moment(times.get("set_up_at")),
        ready_at=_moment(times.get("ready_at")),
        late_s=times.get("late_s", 0),
        why=tuple(plate["why"]),
        plan_digest=row.plan_digest,
        plate=plate,
        zones=tuple(_zone(one) for one in _zones(row.zones.all()).order_by("removal_order")),
        orders=orders_of_batch(row.pk),
        plate_file=file.path if file else None,
        plate_file_sha256=file.sha256 if file else None,
    )


def _moment(text: str | None) -> datetime | None:
    return datetime.fromisoformat(text) if text else None


def _zones(rows: Any) -> Any:
    return rows.select_related("batch", "line__order", "sized").prefetch_related("units")


def _zone(row: Zone) -> ZoneFacts:
    return ZoneFacts(
        code=row.code,
        batch=row.batch.code,
        batch_state=row.batch.state,
        line=row.line.code if row.line else None,
        order=row.line.order.code if row.line else None,
        state=row.state,
        version=row.version,
        part=row.part,
        parts=row.parts,
        wanted=row.wanted,
        spares=row.spares,
        removal_order=row.removal_order,
        units_per_dose=row.sized.units_per_dose if row.sized else 1,
        size_digest=row.sized.digest if row.sized else "",
        units=tuple(
            UnitFacts(
                code=unit.code,
                number=unit.number,
                state=unit.state,
                x_um=unit.x_um,
                y_um=unit.y_um,
                dose_ng=unit.dose_ng,
                predicted_mass_ug=unit.predicted_mass_ug,
                predicted_content_ng=unit.predicted_content_ng,
            )
            for unit in sorted(row.units.all(), key=lambda unit: unit.number)
        ),
    )
