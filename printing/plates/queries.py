"""Reading plates: facts for services on the right, pages for people, the plan as it is shown."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count, Q

from dosewright.ground.models import Work
from dosewright.ground.pure.errors import NotThere
from dosewright.ground.pure.roles import Actor, authorise_read
from dosewright.ground.rest import KeysetPage
from dosewright.ground.scope import find
from prescriptions.models import ScreenReport
from printing.plates.models import Calibration, PlacedUnit, PlanRecord, PlateFile, PrintBatch, Printer, SizedLine, Zone
from printing.plates.sizes import read_size


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitFacts:
    """One unit: where it stands, what it is predicted to weigh and hold [ug], what became of it."""

    code: str
    number: int
    state: str
    x_um: int
    y_um: int
    dose_ug: int
    predicted_mass_ug: int
    predicted_content_ug: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneFacts:
    """One zone with its units; a test zone has no line and no order."""

    code: str
    batch: str
    batch_state: str
    line: str | None
    order: str | None
    state: str
    version: int
    part: int
    parts: int
    wanted: int
    spares: int
    removal_order: int
    units_per_dose: int
    size_digest: str
    units: tuple[UnitFacts, ...]

    @property
    def counts(self) -> Mapping[str, int]:
        """How many units are in each state."""
        found: dict[str, int] = {}
        for unit in self.units:
            found[unit.state] = found.get(unit.state, 0) + 1
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchRow:
    """One line of the list of batches."""

    code: str
    state: str
    printer: str
    formulation: str
    resin_lot: str
    layers: int
    seconds: int
    units: int
    zones: int
    ready_by: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchFacts:
    """One print batch with everything that planning decided, and its plate file once there is one."""

    pk: int
    code: str
    site_id: int
    kind: str
    plan: str
    state: str
    version: int
    printer: str
    printer_mode: str
    formulation: str
    formulation_id: int
    resin_lot: str
    profile: str
    profile_sha256: str
    layer_um: int
    layers: int
    seconds: int
    resin_ul: int
    planned_at: datetime
    ready_by: datetime
    plan_digest: str
    plate: Mapping[str, Any]
    zones: tuple[ZoneFacts, ...]
    orders: tuple[str, ...]
    plate_file: str | None
    plate_file_sha256: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckFacts:
    """The last calibration or laser check of a printer."""

    kind: str
    done_at: datetime
    due_on: Any
    passed: bool
    result: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PrinterFacts:
    """One printer with its plate [um] and its last checks."""

    code: str
    name: str
    kind: str
    mode: str
    plate_um: tuple[int, int]
    build_height_um: int
    tank: str
    version: int
    checks: tuple[CheckFacts, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanFacts:
    """One plan that was asked for: how far it is, and its result or why there is none."""

    code: str
    state: str
    progress: str
    failure: str
    asked_at: datetime
    batches: tuple[str, ...]
    left_out: tuple[Mapping[str, str], ...]
    groups: tuple[Mapping[str, Any], ...]


def provisional_units(order: str, line: str) -> int | None:
    """Return how many units per dose the screen "making" showed for a line, None when it was not sized."""
    report = (
        ScreenReport.objects.filter(order_version__order__code=order, screen="making", occasion="order")
        .order_by("-order_version__number", "-pk")
        .first()
    )
    lines = json.loads(report.text)["record"].get("lines", []) if report else []
    sizes = [one["size"] for one in lines if one["line"] == line and one["size"]]
    return int(sizes[0]["units_per_dose"]) if sizes else None


def sizes_of_batch(batch_id: int) -> dict[str, dict[str, Any]]:
    """Return the kept size of every line whose units stand on a batch, by line code."""
    rows = SizedLine.objects.filter(zone__batch_id=batch_id).select_related("line").distinct()
    return {row.line.code: read_size(row.text) for row in rows}


def size_of_line(line: str, plan: str) -> dict[str, Any]:
    """Return the kept size of a line in a plan; raises NotThere."""
    row = SizedLine.objects.filter(line__code=line, plan=plan).first()
    if row is None:
        raise NotThere.because("line", "was not sized in this plan", value=f"{line}, {plan}")
    return read_size(row.text)


def orders_of_batch(batch_id: int) -> tuple[str, ...]:
    """Return the codes of the orders whose units stand on a batch."""
    codes = Zone.objects.filter(batch_id=batch_id, line__isnull=False).values_list("line__order__code", flat=True)
    return tuple(sorted(set(codes)))


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


def printer(actor: Actor, code: str) -> PrinterFacts:
    """Return one printer; raises NotAllowed, NotThere."""
    authorise_read(actor, "stock")
    return _printer(find(actor, Printer, code))


def printer_facts(code: str, *, site_id: int) -> PrinterFacts:
    """Return one printer for services; raises NotThere."""
    found = Printer.objects.filter(code=code, site_id=site_id).select_related("tank").first()
    if found is None:
        raise NotThere.because("printer", "no such printer at this site", value=code[:40], rule="code")
    return _printer(found)


def printer_of_user(user_id: int) -> str:
    """Return the code of the printer that a machine user speaks for; raises NotThere."""
    found = Printer.objects.filter(user_id=user_id, out_of_use_at=None).values_list("code", flat=True).first()
    if found is None:
        raise NotThere.because("printer", "this user is no printer in use")
    return found


def printers(actor: Actor, *, after: str = "", limit: int = 50) -> KeysetPage[PrinterFacts]:
    """Return a page of printers by code."""
    authorise_read(actor, "stock")
    rows = list(
        Printer.objects.filter(site_id=actor.site_id, code__gt=after)
        .select_related("tank")
        .order_by("code")[: limit + 1]
    )
    return KeysetPage(
        items=tuple(_printer(row) for row in rows[:limit]), next_after=rows[limit - 1].code if len(rows) > limit else ""
    )


def plan_facts(actor: Actor, code: str) -> PlanFacts:
    """Return how far a plan is; raises NotAllowed, NotThere."""
    authorise_read(actor, "batch")
    work = Work.objects.filter(site_id=actor.site_id, key=f"plan:{code}").first()
    if work is None:
        raise NotThere.because("plan", "no such plan at this site", value=code[:40], rule="code")
    kept = PlanRecord.objects.filter(code=code, site_id=actor.site_id).first()
    record = json.loads(kept.text) if kept else {}
    return PlanFacts(
        code=code,
        state=work.state,
        progress=work.progress,
        failure=work.failure,
        asked_at=work.created_at,
        batches=tuple(plate["batch"] for plate in record.get("plates", [])),
        left_out=tuple(record.get("left_out", [])),
        groups=tuple(record.get("groups", [])),
    )


def plans(actor: Actor, *, after: str = "", limit: int = 50) -> KeysetPage[PlanFacts]:
    """Return a page of plans, the newest first."""
    authorise_read(actor, "batch")
    rows = Work.objects.filter(site_id=actor.site_id, kind="plan").order_by("-pk")
    if after:
        rows = rows.filter(pk__lt=int(after)) if after.isdigit() else rows.none()
    found = list(rows[: limit + 1])
    items = tuple(plan_facts(actor, row.key.partition(":")[2]) for row in found[:limit])
    return KeysetPage(items=items, next_after=str(found[limit - 1].pk) if len(found) > limit else "")


def shown_plan(site_id: int, batch_code: str = "") -> dict[str, Any]:
    """Return what `plan --show` prints: the plates of one batch, or of every batch that is not cancelled."""
    rows = PrintBatch.objects.filter(site_id=site_id).order_by("pk")
    rows = rows.filter(code=batch_code) if batch_code else rows.exclude(state="cancelled")
    plates = [json.loads(row.plan_text) for row in rows]
    if batch_code and not plates:
        raise NotThere.because("batch", "no such print batch at this site", value=batch_code[:40], rule="code")
    return {"plates": plates}


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


def _batch(row: PrintBatch) -> BatchFacts:
    file = PlateFile.objects.filter(batch=row).order_by("-pk").first()
    return BatchFacts(
        pk=row.pk,
        code=row.code,
        site_id=row.site_id,
        kind=row.kind,
        plan=row.plan,
        state=row.state,
        version=row.version,
        printer=row.printer.code,
        printer_mode=row.printer.mode,
        formulation=f"{row.formulation.code}/{row.formulation.number}",
        formulation_id=row.formulation_id,
        resin_lot=row.resin_lot.code,
        profile=row.profile.code,
        profile_sha256=row.profile.sha256,
        layer_um=row.layer_um,
        layers=row.layers,
        seconds=row.seconds,
        resin_ul=row.resin_ul,
        planned_at=row.planned_at,
        ready_by=row.ready_by,
        plan_digest=row.plan_digest,
        plate=json.loads(row.plan_text),
        zones=tuple(_zone(one) for one in _zones(row.zones.all()).order_by("removal_order")),
        orders=orders_of_batch(row.pk),
        plate_file=file.path if file else None,
        plate_file_sha256=file.sha256 if file else None,
    )


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
                dose_ug=unit.dose_ug,
                predicted_mass_ug=unit.predicted_mass_ug,
                predicted_content_ug=unit.predicted_content_ug,
            )
            for unit in sorted(row.units.all(), key=lambda unit: unit.number)
        ),
    )


def _printer(row: Printer) -> PrinterFacts:
    last = [
        Calibration.objects.filter(Q(printer=row), kind=kind).order_by("-done_at").first()
        for kind in ("calibration", "laser check")
    ]
    return PrinterFacts(
        code=row.code,
        name=row.name,
        kind=row.kind,
        mode=row.mode,
        plate_um=(row.plate_x_um, row.plate_y_um),
        build_height_um=row.build_height_um,
        tank=row.tank.code if row.tank else "",
        version=row.version,
        checks=tuple(
            CheckFacts(kind=one.kind, done_at=one.done_at, due_on=one.due_on, passed=one.passed, result=one.result_text)
            for one in last
            if one is not None
        ),
    )
