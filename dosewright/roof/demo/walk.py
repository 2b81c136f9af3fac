"""The whole walk, from an empty home to supplied packs."""

from __future__ import annotations

import random
import sys
import time
from pathlib import Path

from dosewright.roof.children import Child, manage, wait_for, web
from dosewright.roof.demo import finish, house, orders, packs, plates, report, summary
from dosewright.roof.demo.stage import Stage, Stuck

SEED = 20260302
STOPPED = "DEMO-ORDER-14"


def walk(home: Path, *, orders_file: Path | None, port: int) -> None:
    """Take the orders of a file, or of the scenario, the whole way in a fresh demo home; raises BadInput, Stuck."""
    begun = time.monotonic()
    stage = Stage(home=home)
    stage.open()
    stage.start_clock()
    today = stage.now().date()
    requests = orders.read_file(orders_file, today)
    if orders_file is None:
        orders.write_scenario(home, today)
    children = [Child("web", web(port), log=home / "web.log"), Child("work", manage("work"), log=home / "work.log")]
    try:
        if not wait_for(f"http://127.0.0.1:{port}/health/alive", children[0]):
            raise Stuck(f"the web server did not start on port {port}: is the port taken?")
        _walk(stage, requests, children, port, scenario=orders_file is None)
    finally:
        for child in reversed(children):
            child.stop()
    stage.end()
    sys.stderr.write(f"\nThe walk took {time.monotonic() - begun:.0f} s. Everything is in {home}\n")


def _walk(stage: Stage, requests: orders.Requests, children: list[Child], port: int, *, scenario: bool) -> None:
    site = house.found(stage)
    packs.sign_law_into_use(stage)
    formulation = house.set_up_medicine(stage)
    lot = house.make_resin(stage, formulation)
    room = house.set_up_room(stage, site, formulation, lot)
    taken = orders.take_in(stage, requests)
    stopped = next((one.code for one in taken if scenario and one.reference == STOPPED), "")
    made = _make(stage, room, children, port, stopped=stopped, scenario=scenario)
    packs.release_and_supply(stage, made)
    if scenario and made:
        packs.take_one_back(stage, made[-1])
    report.write_papers(stage, room, made)
    summary.write(stage, taken)
    report.tell(stage, taken, made)


def _make(
    stage: Stage, room: house.House, children: list[Child], port: int, *, stopped: str, scenario: bool
) -> list[packs.Packed]:
    """Plan, print, finish, judge and pack until no verified line waits; one fault in the scenario."""
    chance = random.Random(SEED)
    batches = plates.plan_all(stage, room, stopped_order=stopped)
    fault = plates.Fault(batch=batches[0] if scenario and batches else "")
    children.append(plates.start_printer(stage, room, f"http://127.0.0.1:{port}", fault))
    printed: list[str] = []
    while batches:
        code = plates.next_batch(stage, room, batches)
        batches.remove(code)
        if plates.print_batch(stage, room, code):
            finish.take_off(stage, code)
            printed.append(code)
        else:
            stage.say(f"batch {code} is over for good; its lines are planned again under a new number")
            plates.close_fault(stage, code)
            batches += plates.plan_all(stage, room)
    made: list[packs.Packed] = []
    for number, code in enumerate(printed):
        finish.finish_and_judge(stage, room, code, chance, reject_one=scenario and number == 0)
        made += packs.pack_batch(stage, code)
    return made
