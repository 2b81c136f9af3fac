"""The gates of a start: what a person recorded for this run, and what is worked out each time it is asked."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from django.db.models import Q

from dosewright.ground.models import Site
from dosewright.ground.pure.errors import Refusal
from prescriptions.queries.facts import order_state
from prescriptions.states import VERIFIED
from printing.formulary.models import PrintProfile
from printing.plates.content import BatchFacts, PrinterFacts
from printing.plates.models import PrintBatch, Printer
from printing.plates.queries import batch_facts, printer_facts, running_batch
from printing.runs.content import (
    AMBER,
    END,
    FAULT,
    GATE,
    GATES,
    INSPECTED,
    LAYER_COUNT,
    LINE_CLEARANCE,
    LOT,
    PEOPLE,
    PROFILE,
    REMOVAL,
    START,
    TANK_FILL,
    GateFacts,
)
from printing.runs.models import PrinterSeen, RunStep
from printing.stock.queries import fill_in_tank, resin_lot_facts


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """What the gates of one batch are held against at a time; `ends_at` is when its run would end."""

    batch: BatchFacts
    printer: PrinterFacts
    at: datetime
    ends_at: datetime
    site: Site


def bench_of(row: PrintBatch, *, at: datetime) -> Bench:
    """Return what the gates of a batch are held against."""
    facts = batch_facts(row.code, site_id=row.site_id)
    return Bench(
        batch=facts,
        printer=printer_facts(facts.printer, site_id=row.site_id),
        at=at,
        ends_at=at + timedelta(seconds=facts.seconds),
        site=row.site,
    )


def asked_gates(row: PrintBatch) -> tuple[str, ...]:
    """Return the gates that a person records for a batch: the usual ones, and the tank's inspection after a fault."""
    return (*GATES, INSPECTED) if fault_on_tank(row.printer) is not None else GATES


def gates_of(row: PrintBatch, *, at: datetime) -> tuple[GateFacts, ...]:
    """Return every gate of a batch as it stands now: recorded ones first, then the computed ones."""
    bench = bench_of(row, at=at)
    recorded = _recorded(row)
    since = _since(row)
    by_person = [_by_person(bench, gate, recorded.get(gate), since) for gate in asked_gates(row)]
    return (*by_person, *_computed(row, bench))


def value_refusal(bench: Bench, gate: str, value: str, statement: str) -> Refusal | None:
    """Return what is wrong with what a person read, scanned or stated at a gate, None when it is as planned."""
    check = CHECKS.get(gate)
    if check is not None:
        return check(bench, value, statement)
    return None if len(statement) >= LEAST_STATEMENT else _refusal(gate, statement, "needs a statement", "one sentence")


def fault_on_tank(printer: Printer) -> RunStep | None:
    """Return the last fault on a printer's tank that nobody inspected it after, None when there is none."""
    steps = RunStep.objects.filter(Q(kind=FAULT) | Q(kind=GATE, name=INSPECTED))
    mine = Q(equipment_id=printer.tank_id) if printer.tank_id else Q(batch__printer=printer)
    last = steps.filter(mine | Q(batch__printer=printer)).order_by("pk").last()
    return last if last is not None and last.kind == FAULT else None


LEAST_STATEMENT = 3
ACCEPTED_FILL = "the tank fill's code, of this lot, in this printer's tank, in date at the end of the run"


def _recorded(row: PrintBatch) -> dict[str, RunStep]:
    rows = RunStep.objects.filter(batch=row, kind=GATE).select_related("by").order_by("pk")
    return {one.name: one for one in rows}


def _since(row: PrintBatch) -> RunStep | None:
    """Return the last thing that ran on the printer: a gate that was recorded before it counts no more."""
    kinds = (START, END, FAULT, REMOVAL)
    return RunStep.objects.filter(batch__printer_id=row.printer_id, kind__in=kinds).order_by("pk").last()


def _by_person(bench: Bench, gate: str, step: RunStep | None, since: RunStep | None) -> GateFacts:
    if step is None:
        return GateFacts(
            gate=gate, by_person=True, holds=False, refusal=_refusal(gate, "", "is not recorded", "a record")
        )
    kept = json.loads(step.text)
    refusal = value_refusal(bench, gate, kept["value"], kept["statement"])
    if since is not None and since.pk > step.pk:
        refusal = _refusal(gate, kept["value"], "was recorded before the printer last ran", "a new record")
    return GateFacts(
        gate=gate,
        by_person=True,
        holds=refusal is None,
        value=kept["value"],
        statement=kept["statement"],
        by=step.by.printed_name,
        at=step.at,
        refusal=refusal,
    )


def _computed(row: PrintBatch, bench: Bench) -> list[GateFacts]:
    checks: Mapping[str, Refusal | None] = {
        "orders": _orders(bench),
        "printer free": _free(bench),
        "plate file": _file(row, bench),
        "calibration": _check(bench, "calibration"),
        "laser check": _check(bench, "laser check"),
        "resin": _enough(bench),
    }
    return [
        GateFacts(gate=gate, by_person=False, holds=refusal is None, refusal=refusal)
        for gate, refusal in checks.items()
    ]


def _orders(bench: Bench) -> Refusal | None:
    off = [f"{order} is {state}" for order in bench.batch.orders if (state := order_state(order)) != VERIFIED]
    return (
        _refusal("orders", ", ".join(off), "are not all verified", "cancel the batch and plan again") if off else None
    )


def _free(bench: Bench) -> Refusal | None:
    running = running_batch(bench.printer.code)
    if running is not None:
        return _refusal("printer", running, "is printing on it", "a printer that stands still")
    left = PrintBatch.objects.filter(printer__code=bench.printer.code, state="printed").values_list("code", flat=True)
    return _refusal("printer", left[0], "is still on its plate", "an empty plate") if left else None


def _file(row: PrintBatch, bench: Bench) -> Refusal | None:
    if bench.batch.plate_file_sha256 is None:
        return _refusal("plate file", "", "is not delivered", "a delivered plate file")
    if bench.batch.printer_mode != "link":
        return None
    seen = PrinterSeen.objects.filter(batch=row).order_by("pk").last()
    if seen is None:
        return _refusal("plate file", "", "the printer has not said that it holds it", "the printer's own report")
    return seen_refusal(
        bench.batch,
        file_sha256=seen.file_sha256,
        layers=seen.layers,
        layer_um=seen.layer_um,
        profile_sha256=seen.profile_sha256,
    )


def seen_refusal(
    batch: BatchFacts, *, file_sha256: str, layers: int, layer_um: int, profile_sha256: str
) -> Refusal | None:
    """Return in what the file a printer says it holds differs from the plan, None when it does not."""
    pairs = (
        ("file_sha256", file_sha256, batch.plate_file_sha256 or ""),
        ("layers", str(layers), str(batch.layers)),
        ("layer_um", str(layer_um), str(batch.layer_um)),
        ("profile_sha256", profile_sha256, batch.profile_sha256),
    )
    for name, found, wanted in pairs:
        if found != wanted:
            return Refusal(
                field=name,
                value=found,
                limit=wanted,
                message="the printer holds something else than was planned",
                accepted=wanted,
                rule="plate file",
            )
    return None


def _check(bench: Bench, kind: str) -> Refusal | None:
    last = next((one for one in bench.printer.checks if one.kind == kind), None)
    if last is None or not last.passed:
        return _refusal(
            kind, "" if last is None else last.result, "did not pass or was never done", "a check that passed"
        )
    ends_on = bench.ends_at.astimezone(bench.site.zone).date()
    if last.due_on < ends_on:
        return Refusal(
            field=kind,
            value=last.due_on.isoformat(),
            limit=ends_on.isoformat(),
            message="is due before the run ends",
            accepted="a check that is in date at the end of the run",
            rule="gate",
        )
    return None


def _enough(bench: Bench) -> Refusal | None:
    fill = fill_in_tank(bench.printer.tank, at=bench.at)
    needed_ml = Decimal(bench.batch.resin_ul) / 1000
    if fill is None or fill.left_ml < needed_ml:
        return Refusal(
            field="resin",
            value="0" if fill is None else str(fill.left_ml),
            limit=str(needed_ml),
            unit="mL",
            message="is not enough in the tank for the run and what must stay in it",
            accepted="a fuller tank",
            rule="gate",
        )
    return None


def _lot(bench: Bench, value: str, statement: str) -> Refusal | None:
    if value != bench.batch.resin_lot:
        return _refusal(LOT, value, "is not the lot that was planned", bench.batch.resin_lot)
    blockers = resin_lot_facts(value, at=bench.ends_at).blockers
    return _with_field(LOT, blockers[0]) if blockers else None


def _tank_fill(bench: Bench, value: str, statement: str) -> Refusal | None:
    fill = fill_in_tank(bench.printer.tank, at=bench.ends_at)
    if fill is None or fill.code != value:
        inside = "nothing" if fill is None else fill.code
        return _refusal(TANK_FILL, value, f"is not in the printer's tank, which holds {inside}", ACCEPTED_FILL)
    if fill.resin_lot != bench.batch.resin_lot:
        return _refusal(TANK_FILL, f"{value} of {fill.resin_lot}", "is of another lot than planned", ACCEPTED_FILL)
    return _with_field(TANK_FILL, fill.blockers[0]) if fill.blockers else None


def _profile(bench: Bench, value: str, statement: str) -> Refusal | None:
    batch = bench.batch
    if (statement, value) != (batch.profile_name, batch.profile_sha256):
        return _refusal(
            PROFILE,
            f"{statement} {value}",
            "is not the print profile that was planned",
            f"{batch.profile_name} {batch.profile_sha256}",
        )
    if not PrintProfile.objects.filter(code=batch.profile, withdrawn_at=None).exists():
        return _refusal(PROFILE, statement, "was withdrawn", "a plan with the profile that is pinned now")
    return None


def _layers(bench: Bench, value: str, statement: str) -> Refusal | None:
    if value != str(bench.batch.layers):
        return _refusal(LAYER_COUNT, value, "is not what the plan says", str(bench.batch.layers))
    return None


def _inspected(bench: Bench, value: str, statement: str) -> Refusal | None:
    if value != bench.printer.tank:
        return _refusal(INSPECTED, value, "is not this printer's tank", bench.printer.tank)
    return None if len(statement) >= LEAST_STATEMENT else _refusal(INSPECTED, "", "needs what was seen", "one sentence")


CHECKS: dict[str, Callable[[Bench, str, str], Refusal | None]] = {
    LOT: _lot,
    TANK_FILL: _tank_fill,
    PROFILE: _profile,
    LAYER_COUNT: _layers,
    INSPECTED: _inspected,
}
STATED = (LINE_CLEARANCE, PEOPLE, AMBER)


def _refusal(field: str, value: str, message: str, accepted: str) -> Refusal:
    return Refusal(field=field, value=value, message=message, accepted=accepted, rule="gate")


def _with_field(gate: str, one: Refusal) -> Refusal:
    return Refusal(field=gate, value=one.value, message=one.message, accepted=one.accepted, rule="gate")
