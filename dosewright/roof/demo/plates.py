"""Plans the plates, has them approved and delivered, and runs them on the training printer."""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import timedelta
from functools import partial

from dosewright.ground.pure.errors import Blocked, Conflict
from dosewright.roof.children import Child, module
from dosewright.roof.demo.house import TANK_ML, House
from dosewright.roof.demo.stage import Stage, Stuck
from dosewright.roof.environment import write_secret
from prescriptions.services import stop_order
from printing.formulary.queries import profile_row
from printing.plates import services as plates
from printing.plates.queries import batch_facts, batch_state, next_ready_batch, plan_facts
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
from printing.stock.queries import fill_in_tank, tank_fill_facts

SPEED = 2000
FAULT_AT_LAYER = 30
TANK_LIFE = timedelta(hours=7)
"""After this the demo fills the tank anew, an hour before the formulation's limit."""


@dataclass(slots=True, kw_only=True)
class Fault:
    """The fault that the scenario lets the training printer have, once."""

    batch: str = ""


def plan_all(stage: Stage, house: House, *, stopped_order: str = "") -> list[str]:
    """Plan every verified line and have the batches approved; return the codes of those that will be printed.

    `stopped_order` is stopped by its prescriber after planning: its batch is then refused, cancelled, and what
    else stood on it is planned again.
    """
    batches = _plan(stage, house)
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
        approved += [code for code in _plan(stage, house) if _approved(stage, code)]
    return approved


def _plan(stage: Stage, house: House) -> list[str]:
    tomas = stage.person("tomas.lind")
    plan = plates.request_plan(tomas, resin_lot=house.resin_lot, printer=house.printer, at=stage.now())
    stage.wait(lambda: plan_facts(tomas, plan).state in {"done", "failed"}, f"plan {plan}", within_s=120)
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
            f"batch {code} planned by a worker: {len(batch.zones)} zones, {units} units, {batch.layers} layers of "
            f"{batch.layer_um} um, {batch.seconds // 60} min"
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


def start_printer(stage: Stage, house: House, url: str, fault: Fault) -> Child:
    """Start the training printer, a process of its own that only speaks HTTP with its token."""
    token = stage.home / "keys" / "training_printer_token"
    write_secret(token, house.printer_token)
    command = module(
        "dosewright.roof.training_printer", "--url", url, "--token-file", str(token), "--speed", str(SPEED)
    )
    if fault.batch:
        command += ["--fault-batch", fault.batch, "--fault-layer", str(FAULT_AT_LAYER)]
    environment = {name: value for name, value in os.environ.items() if not name.startswith("D")}
    return Child("training printer", command, env=environment, log=stage.home / "training-printer.log")


def next_batch(stage: Stage, house: House, batches: list[str]) -> str:
    """Return the batch that the printer is given next, once all that were approved are delivered."""
    for code in batches:
        stage.wait(partial(_is_ready, stage, code), f"delivery of {code}", within_s=120)
    following = next_ready_batch(house.printer)
    if following is None:
        raise Stuck("no batch is ready")
    return following


def _is_ready(stage: Stage, code: str) -> bool:
    return _state(stage, code) == "ready"


def print_batch(stage: Stage, house: House, code: str) -> bool:
    """Pass the gates, start, follow the layers; return whether the batch was printed and did not fault."""
    tomas = stage.person("tomas.lind")
    stage.wait(lambda: _printer_is_ready(stage, code), f"{code} on the printer")
    _gates(stage, house, code)
    runs.start_run(tomas, code, at=stage.now())
    batch = batch_facts(code, site_id=stage.site_id)
    stage.say(f"batch {code} started on {batch.printer}: all gates hold")
    told = 0
    while (state := _state(stage, code)) == "printing":
        layer = _layer(stage, code)
        if layer >= told + batch.layers // 3:
            told = layer
            stage.say(f"batch {code}: layer {layer} of {batch.layers}")
        stage.wait(partial(_moved, stage, code, layer), f"the next layer of {code}", within_s=60)
    stage.skip(batch.seconds)
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
    """Record every gate that a person passes, filling the tank anew when its time is nearly over."""
    tomas = stage.person("tomas.lind")
    _fill_in_time(stage, house)
    batch = batch_facts(code, site_id=stage.site_id)
    profile = profile_row(batch.profile)
    readings = {
        LINE_CLEARANCE: ("", "bench and printer cleared of the batch before"),
        LOT: (batch.resin_lot, ""),
        TANK_FILL: (house.tank_fill, ""),
        PROFILE: (profile.sha256, profile.name),
        LAYER_COUNT: (str(batch.layers), ""),
        PEOPLE: ("", "trained on the current procedure"),
        AMBER: ("", "amber light on, blinds down"),
        INSPECTED: (house.tank, "resin filtered, film inspected, no fragments"),
    }
    for gate in [one.gate for one in run_facts(code, site_id=stage.site_id, at=stage.now()).gates if one.by_person]:
        value, statement = readings[gate]
        runs.record_gate(tomas, code, gate=gate, value=value, statement=statement, at=stage.now())


def _fill_in_time(stage: Stage, house: House) -> None:
    fill = fill_in_tank(house.tank, at=stage.now())
    if fill is None:
        raise Stuck("the tank is empty")
    filled_at = tank_fill_facts(house.tank_fill, at=stage.now()).filled_at
    if stage.now() - filled_at < TANK_LIFE:
        return
    tomas = stage.person("tomas.lind")
    stock.empty_tank(tomas, house.tank_fill, at=stage.now())
    stock.clean_equipment(tomas, house.tank, how="emptied, wiped, film changed", at=stage.now())
    house.tank_fill = stock.fill_tank(
        tomas, tank=house.tank, resin_lot=house.resin_lot, volume_ml=TANK_ML, at=stage.now()
    ).code
    stage.say(f"tank filled anew: {house.tank_fill}")
