"""Reading a run: where it is, what comes next, and what a linked printer is to do."""

from __future__ import annotations

from datetime import datetime

from dosewright.ground.pure.errors import NotThere
from dosewright.ground.pure.roles import Actor, authorise_read
from printing.plates.models import PrintBatch
from printing.plates.queries import batch_facts, next_ready_batch, printer_of_user, running_batch
from printing.runs.content import GATE, GateFacts, JobFacts, RunFacts, StepFacts
from printing.runs.models import LayerReport, RunStep
from printing.runs.queries.deviations import all_deviations
from printing.runs.queries.gates import gates_of
from printing.runs.queries.steps import events, is_broken_off, step_facts

LOAD, PRINT, WAIT = "load", "print", "wait"


def run(actor: Actor, code: str, *, at: datetime) -> RunFacts:
    """Return where a batch is, for people who may see batches; raises NotAllowed, NotThere."""
    authorise_read(actor, "batch")
    return run_facts(code, site_id=actor.site_id, at=at)


def run_facts(code: str, *, site_id: int, at: datetime) -> RunFacts:
    """Return where a batch is: gates while it waits, layers while it prints, finishing, what is next."""
    row = PrintBatch.objects.select_related("printer", "site").filter(code=code, site_id=site_id).first()
    if row is None:
        raise NotThere.because("batch", "no such print batch at this site", value=code[:40], rule="code")
    gates = gates_of(row, at=at) if row.state == "ready" else ()
    steps = step_facts(row.pk, row.formulation_id)
    report = LayerReport.objects.filter(batch=row).first()
    return RunFacts(
        batch=row.code,
        state=row.state,
        printer=row.printer.code,
        gates=gates,
        layer=report.layer if report else 0,
        layers=row.layers,
        seconds_left=report.seconds_left if report else None,
        heard_at=report.heard_at if report else None,
        steps=steps,
        events=events(row.pk),
        deviations=all_deviations(site_id=site_id, batch=row.code),
        next_thing=_next_thing(row, gates, steps),
    )


def printer_job(actor: Actor) -> JobFacts:
    """Return what the linked printer that asks is to do; raises NotThere for anybody else.

    A running batch comes first; else the ready batch at whose gates somebody stands; else the one due earliest.
    """
    printer = printer_of_user(actor.user_id)
    running = running_batch(printer)
    code = running or _being_prepared(printer) or next_ready_batch(printer)
    if code is None:
        return JobFacts(printer=printer, phase=WAIT)
    batch = batch_facts(code, site_id=actor.site_id)
    report = LayerReport.objects.filter(batch__code=code).first()
    return JobFacts(
        printer=printer,
        phase=PRINT if running else LOAD,
        batch=code,
        file_sha256=batch.plate_file_sha256 or "",
        layers=batch.layers,
        layer_um=batch.layer_um,
        seconds=batch.seconds,
        profile_name=batch.profile_name,
        profile_sha256=batch.profile_sha256,
        layer=report.layer if report else 0,
    )


def batch_of_printer(actor: Actor, code: str) -> None:
    """Raise NotThere unless the batch is one of the printer that `actor` is."""
    printer = printer_of_user(actor.user_id)
    if not PrintBatch.objects.filter(code=code, printer__code=printer).exists():
        raise NotThere.because("batch", "no such print batch on this printer", value=code[:40], rule="code")


def _being_prepared(printer: str) -> str | None:
    gates = RunStep.objects.filter(kind=GATE, batch__printer__code=printer, batch__state="ready")
    return gates.order_by("-pk").values_list("batch__code", flat=True).first()


def _next_thing(row: PrintBatch, gates: tuple[GateFacts, ...], steps: tuple[StepFacts, ...]) -> str:
    if row.state == "ready":
        waiting = next((one for one in gates if not one.holds), None)
        return "start" if waiting is None else f"gate: {waiting.gate}"
    if row.state == "finishing":
        open_step = next((one for one in steps if one.ended_at is None), None)
        if open_step is None:
            return "end finishing"
        verb = "end" if open_step.started_at else "start"
        return f"{verb} step {open_step.number}: {open_step.kind}"
    if row.state == "testing":
        return _next_zone(row)
    return {"planned": "approve", "queued": "wait for the plate file", "printing": "wait for the printer"}.get(
        row.state, {"printed": "take the rafts off the plate"}.get(row.state, "")
    )


def _next_zone(row: PrintBatch) -> str:
    zones = list(row.zones.order_by("removal_order"))
    for zone in zones:
        if not is_broken_off(zone.pk):
            return f"break off {zone.code}"
        if zone.units.filter(state="printed").exclude(measurements__kind="mass").exists():
            return f"weigh {zone.code}"
    waiting = next((zone for zone in zones if zone.state == "open"), None)
    return f"judge {waiting.code}" if waiting else "close"
