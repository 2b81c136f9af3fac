"""A run: the printer says what it holds, a technician starts it, layers come in, it ends or faults."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from dosewright.ground.act import Act, act
from dosewright.ground.people import system_of
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotThere, Refusal
from dosewright.ground.pure.roles import Actor, Role, authorise_role
from prescriptions.queries.facts import order_facts
from prescriptions.services.screens import screen_again
from printing.plates.queries import (
    PrintBatch,
    batch_facts,
    batch_row,
    orders_of_batch,
    printer_of_user,
    unit_rows,
    zones_of,
)
from printing.plates.services import let_lines_go, move_batch, move_units
from printing.runs.content import END, FAULT, START
from printing.runs.models import LayerReport, PrinterSeen
from printing.runs.queries.gates import gates_of, seen_refusal
from printing.runs.queries.steps import last_step, tank_fill_id
from printing.runs.services.record import add_deviation, add_step
from printing.stock.content import WASTE
from printing.stock.queries import balance_ug, fill_in_tank, resin_lot_facts, tank_fill_facts
from printing.stock.services import move_stock

FAULT_KINDS = ("power", "laser or light", "film or tank", "detached units", "resin level", "door opened", "other")
MOST_SECONDS = 10_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class RunAnswer:
    """A batch after an action on its run."""

    code: str
    state: str
    version: int
    deviation: str = ""


def printer_seen(
    actor: Actor, code: str, *, file_sha256: str, layers: int, layer_um: int, profile_sha256: str, at: datetime
) -> RunAnswer:
    """Keep what a linked printer says of the file it holds for a ready batch. For that printer.

    Kept also when it is not what was planned, which the start then refuses; the same report again adds nothing.
    Raises NotAllowed, NotThere, Conflict for a batch that is not ready.
    """
    authorise_role(actor, "run.seen")
    batch = _own_batch(actor, code)
    last = PrinterSeen.objects.filter(batch=batch).order_by("pk").last()
    said = {"file_sha256": file_sha256, "layers": layers, "layer_um": layer_um, "profile_sha256": profile_sha256}
    if last is not None and all(getattr(last, name) == value for name, value in said.items()):
        return _answer(batch)
    with act(actor, "run.seen", at=at, subject=code) as doing:
        if batch.state != "ready":
            raise Conflict.because(code, f"is {batch.state}", accepted="a ready batch", rule="state")
        PrinterSeen.objects.create(batch=batch, at=at, by_id=actor.user_id, **said)
        refusal = seen_refusal(batch_facts(code, site_id=actor.site_id), **said)  # type: ignore[arg-type]
        doing.note(**said, as_planned=refusal is None)
    return _answer(batch)


def start_run(actor: Actor, code: str, *, at: datetime) -> RunAnswer:
    """Start a ready batch once every gate holds. For technicians.

    Each order is screened again first; a new alert sends it back to be checked and stops the start. Raises
    NotAllowed, NotThere, Conflict; Blocked naming every gate that is missing or holds no more.
    """
    authorise_role(actor, "run.start")
    batch = batch_row(actor, code)
    alerts = _screened_again(actor, batch, at) if batch.state == "ready" else []
    with act(actor, "run.start", at=at, subject=code) as doing:
        batch = batch_row(actor, code)
        if batch.state == "ready":
            refusals = [one.refusal for one in gates_of(batch, at=at) if one.refusal is not None]
            if refusals or alerts:
                raise Blocked(*refusals, *alerts)
        move_batch(doing, batch, "start")
        fill = fill_in_tank(batch.printer.tank.code if batch.printer.tank else "", at=at)
        if fill is None:
            raise Blocked.because("tank fill", "the printer's tank is empty", accepted="a filled tank", rule="gate")
        amount_ug = _take_resin(doing, batch, fill.code, at)
        LayerReport.objects.create(batch=batch, layer=0, layers=batch.layers, seconds_left=batch.seconds, heard_at=at)
        facts = {"tank_fill": fill.code, "resin_ug": amount_ug, "good_until": fill.good_until}
        add_step(doing, batch, START, facts=facts, tank_fill_id=tank_fill_id(fill.code))
        doing.emit("batch started", batch=code)
    return _answer(batch)


def report_layer(actor: Actor, code: str, *, layer: int, layers: int, seconds_left: int, at: datetime) -> RunAnswer:
    """Overwrite how far a running batch is. For its printer, or a technician who reads the printer's screen.

    Progress leaves no audit row. A late report of an earlier layer changes nothing. Raises NotAllowed, NotThere,
    BadInput, Conflict for a batch that is not printing.
    """
    authorise_role(actor, "run.layer")
    batch = _own_batch(actor, code)
    _refuse_layer(batch, layer, layers, seconds_left)
    rows = LayerReport.objects.filter(batch=batch, batch__state="printing", layer__lte=layer)
    if rows.update(layer=layer, layers=layers, seconds_left=seconds_left, heard_at=at) == 0:
        _refuse_not_printing(batch_row(actor, code))
    return _answer(batch)


def end_run(actor: Actor, code: str, *, at: datetime) -> RunAnswer:
    """End a run whose last layer was reported. For its printer and technicians.

    Raises NotAllowed, NotThere, Conflict for a batch that is not printing, Blocked before the last layer.
    """
    batch = _own_batch(actor, code)
    with act(actor, "run.end", at=at, subject=code) as doing:
        move_batch(doing, batch, "end")
        report = LayerReport.objects.get(batch=batch)
        if report.layer != batch.layers:
            raise Blocked.because(
                "layer",
                "is not the last one",
                value=str(report.layer),
                limit=str(batch.layers),
                accepted="the last layer",
            )
        add_step(doing, batch, END, facts={"layer": report.layer})
        opened = _tank_life_passed(doing, batch, at)
        doing.emit("batch printed", batch=code)
    return _answer(batch, deviation=opened)


def fault_run(actor: Actor, code: str, *, layer: int, kind: str, text: str, at: datetime) -> RunAnswer:
    """End a faulted run for good: its units are destroyed on record, its lines are free to be planned anew.

    The tank must be inspected before it is printed with again. For the batch's printer and technicians. Raises
    NotAllowed, NotThere, BadInput, Conflict for a batch that is not printing.
    """
    batch = _own_batch(actor, code)
    with act(actor, "run.fault", at=at, subject=code, reason=text.strip()[:200]) as doing:
        if kind not in FAULT_KINDS:
            raise BadInput.because("kind", "is no kind of fault", value=kind[:40], accepted=", ".join(FAULT_KINDS))
        if not 0 <= layer <= batch.layers:
            raise BadInput.because("layer", "is no layer of this batch", value=str(layer), limit=str(batch.layers))
        move_batch(doing, batch, "fault")
        move_units(doing, unit_rows(*(one.pk for one in zones_of(batch.pk))), "destroy")
        facts = {"layer": layer, "kind": kind, "text": text.strip()[:200]}
        add_step(doing, batch, FAULT, name=kind, facts=facts, equipment_id=batch.printer.tank_id)
        _waste_resin(doing, batch)
        freed = let_lines_go(doing, batch)
        deviation = add_deviation(
            doing,
            kind="fault of a run",
            text=f"layer {layer} of {batch.layers}: {kind}. {text.strip()}"[:500],
            effect="all units of the batch are destroyed; the tank must be inspected",
            batch_id=batch.pk,
            concerns=makers_so_far(batch),
        )
        doing.note(freed=freed)
        doing.emit("batch faulted", batch=code)
    return _answer(batch, deviation=deviation.code)


def makers_so_far(batch: PrintBatch) -> frozenset[int]:
    """Return who started a batch, the person that a fault of its run concerns."""
    started = last_step(batch.pk, START)
    return frozenset() if started is None else frozenset({started.by_id})


def _own_batch(actor: Actor, code: str) -> PrintBatch:
    """Return a batch of the site; for a printer only one that is planned on it."""
    batch = batch_row(actor, code)
    if actor.has(Role.PRINTER) and batch.printer.code != printer_of_user(actor.user_id):
        raise NotThere.because("batch", "no such print batch on this printer", value=code[:40], rule="code")
    return batch


def _screened_again(actor: Actor, batch: PrintBatch, at: datetime) -> list[Refusal]:
    system = system_of(actor.site_id)
    return [
        Refusal(
            field=order,
            value=alert.value,
            limit=alert.limit,
            unit=alert.unit,
            message=f"new alert about {order_facts(order).patient}: {alert.message}",
            accepted="an order that was checked again",
            rule=alert.rule,
        )
        for order in orders_of_batch(batch.pk)
        for alert in screen_again(system, order, occasion="start", at=at)
    ]


def _take_resin(doing: Act, batch: PrintBatch, fill: str, at: datetime) -> int:
    """Move what the run uses up from the tank to the batch; what must stay in the tank stays there."""
    plate = batch_facts(batch.code, site_id=batch.site_id).plate
    used_ul = batch.resin_ul - int(plate["resin"]["tank_minimum_ul"])
    lot = resin_lot_facts(batch.resin_lot.code, at=at)
    amount_ug = int((used_ul * lot.density_g_cm3 * 1000).to_integral_value())
    move_stock(doing, lot.code, fill, -amount_ug, "printed", batch.code)
    move_stock(doing, lot.code, batch.code, amount_ug, "printed", fill)
    return amount_ug


def _waste_resin(doing: Act, batch: PrintBatch) -> None:
    lot = batch.resin_lot.code
    left_ug = balance_ug(lot, batch.code)
    if left_ug:
        move_stock(doing, lot, batch.code, -left_ug, "fault", batch.code)
        move_stock(doing, lot, WASTE, left_ug, "fault", batch.code)


def _tank_life_passed(doing: Act, batch: PrintBatch, at: datetime) -> str:
    started = last_step(batch.pk, START)
    if started is None or started.tank_fill is None:
        return ""
    until = tank_fill_facts(started.tank_fill.code, at=at).good_until
    if at <= until:
        return ""
    return add_deviation(
        doing,
        kind="tank life passed during the run",
        text=f"tank fill {started.tank_fill.code} was good until {until.isoformat()}",
        effect="the resin may have changed in the tank",
        batch_id=batch.pk,
        concerns={started.by_id},
    ).code


def _refuse_layer(batch: PrintBatch, layer: int, layers: int, seconds_left: int) -> None:
    found: list[Refusal] = []
    if layers != batch.layers:
        found.append(_bad("layers", layers, str(batch.layers), "is not the planned number of layers"))
    if not 0 <= layer <= batch.layers:
        found.append(_bad("layer", layer, f"0 to {batch.layers}", "is no layer of this batch"))
    if not 0 <= seconds_left <= MOST_SECONDS:
        found.append(_bad("seconds_left", seconds_left, f"0 to {MOST_SECONDS}", "is no time that is left"))
    if found:
        raise BadInput(*found)


def _bad(field: str, value: int, accepted: str, message: str) -> Refusal:
    return Refusal(field=field, value=str(value), limit=accepted, message=message, accepted=accepted, rule="layer")


def _refuse_not_printing(batch: PrintBatch) -> None:
    if batch.state != "printing":
        raise Conflict.because(batch.code, f"is {batch.state}", accepted="a batch that is printing", rule="state")


def _answer(batch: PrintBatch, *, deviation: str = "") -> RunAnswer:
    return RunAnswer(code=batch.code, state=batch.state, version=batch.version, deviation=deviation)
