"""Gates before a start: what was read, scanned or stated is held against the plan at once, and again at the start."""

from __future__ import annotations

from datetime import datetime

from dosewright.ground.act import act
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict
from dosewright.ground.pure.roles import Actor
from printing.plates.queries import batch_row
from printing.runs.content import GATE, INSPECTED, LOT, TANK_FILL
from printing.runs.queries.gates import asked_gates, bench_of, gates_of, value_refusal
from printing.runs.queries.steps import tank_fill_id
from printing.runs.services.record import add_step
from printing.stock.queries import fill_in_tank

MOST_CHARACTERS = 200
SCANNED = (LOT, TANK_FILL, INSPECTED)


def record_gate(
    actor: Actor, code: str, *, gate: str, value: str = "", statement: str = "", at: datetime
) -> tuple[str, ...]:
    """Record one gate of a ready batch and return the gates that still wait for a person. For technicians.

    ``value`` is what was scanned (lot, tank fill, tank) or read (layer count, hash of the print profile, whose
    name is the ``statement``); line clearance, trained people and amber light are statements. Raises NotAllowed,
    NotThere, Conflict for a batch that is not ready, BadInput for a gate that is none, Blocked for anything that
    is not as planned.
    """
    batch = batch_row(actor, code)
    with act(actor, "run.gate", at=at, subject=code) as doing:
        if batch.state != "ready":
            raise Conflict.because(code, f"is {batch.state}", accepted="a ready batch", rule="state")
        asked = asked_gates(batch)
        if gate not in asked:
            raise BadInput.because("gate", "is no gate of this batch", value=gate[:40], accepted=", ".join(asked))
        tidy = value.strip().upper() if gate in SCANNED else value.strip()
        stated = statement.strip()
        if max(len(tidy), len(stated)) > MOST_CHARACTERS:
            raise BadInput.because("statement", "is too long", limit=str(MOST_CHARACTERS), accepted="a short statement")
        bench = bench_of(batch, at=at)
        refusal = value_refusal(bench, gate, tidy, stated)
        if refusal is not None:
            raise Blocked(refusal)
        fill = fill_in_tank(bench.printer.tank, at=at) if gate == TANK_FILL else None
        add_step(
            doing,
            batch,
            GATE,
            name=gate,
            facts={"value": tidy, "statement": stated},
            equipment_id=batch.printer.tank_id if gate == INSPECTED else None,
            tank_fill_id=tank_fill_id(fill.code) if fill else None,
        )
    return tuple(one.gate for one in gates_of(batch, at=at) if one.by_person and not one.holds)
