"""Plans the plates, has them approved and delivered, and runs them on the training printer."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_DOWN, Decimal
from functools import partial

from dosewright.ground.pure.errors import Blocked, Conflict
from dosewright.roof.children import Child, module
from dosewright.roof.demo.house import TANK_CAPACITY_ML, House, Room
from dosewright.roof.demo.stage import Stage, Stuck
from dosewright.roof.environment import write_secret
from prescriptions.services import stop_order
from printing.formulary.queries import profile_row
from printing.plates import services as plates
from printing.plates.queries import batch_facts, batch_state, next_ready_batch, plan_facts, printer_facts
from printing.runs import services as runs
from printing.runs.content import (
    AMBER,
    INSPECTED,
    LAYER_COUNT,
    LINE_CLEARANCE,
    LOT,
    MUST_NOT_BE_USED,
    PEOPLE,
    PROFILE,
    TANK_FILL,
)
from printing.runs.queries import open_deviations, run_facts
from printing.stock import services as stock
from printing.stock.queries import fill_in_tank, resin_lot_facts

SPEED = 2000
FAULT_AT_LAYER = 30
LOOK_S = 0.25
"""How often the demo looks at a plan or a printer: seldom, for the cores belong to them."""

ENDED = frozenset({"done", "failed"})
MARGIN_ML = Decimal(10)
STEP_ML = Decimal(1)


@dataclass(slots=True, kw_only=True)
class Fault:
    """The fault that the scenario lets the training printer have, once."""

    batch: str = ""


def plan_all(stage: Stage, *, stopped_order: str = "") -> list[str]:
    """Plan every verified line and have the batches approved; return the codes of those that will be printed.

    `stopped_order` is stopped by its prescriber after planning: its batch is then refused, cancelled, and what
    else stood on it is planned again.
    """
    batches = _plan(stage)
    if stopped_order:
        stop_order(stage.person("mira.voss"), stopped_order, reason="treatment changed (invented)", at=stage.now())
        stage.say(f"order {stopped_order} stopped by its prescriber after planning")
    approved, cancelled = [], False
    for code in batches:
        if _approved(stage, code):
            approved.append(code)
        else:
            cancelled = True
    if cancelled:
        approved += [code for code in _plan(stage) if _approved(stage, code)]
    return approved


def _plan(stage: Stage) -> list[str]:
    """Have one plan made over all lots and printers; return its batches."""
    tomas = stage.person("tomas.lind")
    plan = plates.request_plan(tomas, at=stage.now())
    stage.wait(
        lambda: plan_facts(tomas, plan).state in {"done", "failed"}, f"plan {plan}", within_s=300, every_s=LOOK_S
    )
    facts = plan_facts(tomas, plan)
    for one in facts.left_out:
        stage.say(f"left out of {plan}: {one.get('line') or one.get('order')}: {one['why']}")
    if facts.state == "failed":
        stage.say(f"plan {plan} could not be made: {facts.failure}")
        return []
    for code in facts.batches:
        batch = batch_facts(code, site_id=stage.site_id)
        units = sum(len(zone.units) for zone in batch.zones)
        stage.say(
            f"batch {code} planned by a worker for {batch.printer}: {len(batch.zones)} zones, {units} units of "
            f"{batch.formulation}, {batch.layers} layers of {batch.layer_um} um, {batch.seconds // 60} min"
        )
    return list(facts.batches)


def _approved(stage: Stage, code: str) -> bool:
    """Have a batch approved; one with a stopped order on it is refused, and cancelled by a worker."""
    try:
        plates.approve_batch(stage.person("tomas.lind"), code, at=stage.now())
    except (Blocked, Conflict) as refused:
        stage.say(f"batch {code} not approved: {refused.refusals[0].message}")
        stage.wait(lambda: _state(stage, code) == "cancelled", f"cancelling of {code}")
        return False
    return True


def start_printers(stage: Stage, house: House, url: str, fault: Fault) -> list[Child]:
    """Start the training printers, each a process of its own that only speaks HTTP with its token."""
    return [_start(stage, code, token, url, fault) for code, token in house.printers.items()]


def _start(stage: Stage, printer: str, token: str, url: str, fault: Fault) -> Child:
    file = stage.home / "keys" / f"training_printer_token_{printer}"
    write_secret(file, token)
    command = module("dosewright.roof.training_printer", "--url", url, "--token-file", str(file), "--speed", str(SPEED))
    if fault.batch:
        command += ["--fault-batch", fault.batch, "--fault-layer", str(FAULT_AT_LAYER)]
    environment = {name: value for name, value in os.environ.items() if not name.startswith("D")}
    return Child(f"training printer {printer}", command, env=environment, log=stage.home / f"{printer}.log")


def next_batches(stage: Stage, house: House, batches: Sequence[str]) -> list[str]:
    """Return the batch that each printer is given next, once all that were approved are delivered."""
    for code in batches:
        stage.wait(partial(_is_ready, stage, code), f"delivery of {code}", within_s=300)
    following = [found for printer in house.printers if (found := next_ready_batch(printer)) is not None]
    if not following:
        raise Stuck("no batch is ready")
    return following


def _is_ready(stage: Stage, code: str) -> bool:
    return _state(stage, code) == "ready"


def print_batches(stage: Stage, house: House, codes: Sequence[str]) -> dict[str, bool]:
    """Print batches of different printers side by side; say of each whether it was printed and did not fault."""
    seconds = 0
    for code in codes:
        _fit_and_fill(stage, house, code)
        stage.wait(partial(_printer_is_ready, stage, code), f"{code} on the printer", every_s=LOOK_S)
        _gates(stage, house, code)
        runs.start_run(stage.person("tomas.lind"), code, at=stage.now())
        batch = batch_facts(code, site_id=stage.site_id)
        seconds = max(seconds, batch.seconds)
        stage.say(f"batch {code} started on {batch.printer}: all gates hold")
    found = {code: _followed(stage, code) for code in codes}
    stage.skip(seconds)
    return found


def _followed(stage: Stage, code: str) -> bool:
    layers, told = batch_facts(code, site_id=stage.site_id).layers, 0
    while (state := _state(stage, code)) == "printing":
        layer = _layer(stage, code)
        if layer >= told + layers // 3:
            told = layer
            stage.say(f"batch {code}: layer {layer} of {layers}")
        stage.wait(partial(_moved, stage, code, layer), f"the next layer of {code}", within_s=120, every_s=LOOK_S)
    stage.say(f"batch {code} {state}")
    return state == "printed"


def close_fault(stage: Stage, code: str) -> None:
    """Let a pharmacist close the deviation that a fault opened; its units stay destroyed."""
    rosa = stage.person("rosa.keller")
    for one in open_deviations(batch=code, site_id=stage.site_id):
        shown = runs.shown_for_close(rosa, one.code)
        runs.close_deviation(
            rosa,
            one.code,
            investigation="the training printer was told to fault (invented)",
            action_taken="units destroyed, tank inspected, lines planned anew",
            decision=MUST_NOT_BE_USED,
            pen=stage.pen("rosa.keller", shown),
            at=stage.now(),
        )
        stage.say(f"deviation {one.code} of batch {code} closed by a pharmacist")


def _printer_is_ready(stage: Stage, code: str) -> bool:
    """Say whether the gates hold that no person records: calibration, laser check, the printer holding the file."""
    gates = run_facts(code, site_id=stage.site_id, at=stage.now()).gates
    return all(one.holds for one in gates if not one.by_person)


def _moved(stage: Stage, code: str, layer: int) -> bool:
    return _state(stage, code) != "printing" or _layer(stage, code) > layer


def _layer(stage: Stage, code: str) -> int:
    return run_facts(code, site_id=stage.site_id, at=stage.now()).layer


def _state(stage: Stage, code: str) -> str:
    return batch_state(code, site_id=stage.site_id)


def _gates(stage: Stage, house: House, code: str) -> None:
    """Record every gate that a person passes."""
    tomas = stage.person("tomas.lind")
    batch = batch_facts(code, site_id=stage.site_id)
    room = house.room_of(batch)
    tank = room.tanks[batch.printer]
    profile = profile_row(batch.profile)
    readings = {
        LINE_CLEARANCE: ("", "bench and printer cleared of the batch before"),
        LOT: (batch.resin_lot, ""),
        TANK_FILL: (room.fills[tank], ""),
        PROFILE: (profile.sha256, profile.name),
        LAYER_COUNT: (str(batch.layers), ""),
        PEOPLE: ("", "trained on the current procedure"),
        AMBER: ("", "amber light on, blinds down"),
        INSPECTED: (tank, "resin filtered, film inspected, no fragments"),
    }
    for gate in [one.gate for one in run_facts(code, site_id=stage.site_id, at=stage.now()).gates if one.by_person]:
        value, statement = readings[gate]
        runs.record_gate(tomas, code, gate=gate, value=value, statement=statement, at=stage.now())


def _fit_and_fill(stage: Stage, house: House, code: str) -> None:
    """Fit the tank of a batch's formulation to its printer, and fill it where it is empty, old or nearly used up."""
    batch = batch_facts(code, site_id=stage.site_id)
    room = house.room_of(batch)
    tank = room.tanks[batch.printer]
    if printer_facts(batch.printer, site_id=stage.site_id).tank != tank:
        plates.fit_tank(stage.person("tomas.lind"), batch.printer, tank=tank, at=stage.now())
        stage.say(f"{batch.printer} fitted with the tank of {batch.formulation}")
    needed_ml = Decimal(batch.resin_ul) / 1000
    fill = fill_in_tank(tank, at=stage.now())
    if fill is not None and stage.now() - fill.filled_at < room.tank_life and fill.left_ml >= needed_ml:
        return
    _fill(stage, room, tank, needed_ml)


def _fill(stage: Stage, room: Room, tank: str, needed_ml: Decimal) -> None:
    """Fill a tank, after emptying and cleaning it, with the room's usual volume, or with more for a large plate."""
    tomas = stage.person("tomas.lind")
    if tank in room.fills:
        stock.empty_tank(tomas, room.fills[tank], at=stage.now())
        stock.clean_equipment(tomas, tank, how="emptied, wiped, film changed", at=stage.now())
    there_ml = Decimal(resin_lot_facts(room.resin_lot, at=stage.now()).available_ul) / 1000
    wanted_ml = min(max(room.tank_ml, needed_ml + MARGIN_ML), TANK_CAPACITY_ML, there_ml)
    room.fills[tank] = stock.fill_tank(
        tomas,
        tank=tank,
        resin_lot=room.resin_lot,
        volume_ml=wanted_ml.quantize(STEP_ML, ROUND_DOWN),
        at=stage.now(),
    ).code
    stage.say(f"tank {tank} filled from lot {room.resin_lot}: {room.fills[tank]}")
