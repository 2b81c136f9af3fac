"""The whole walk, from an empty home to supplied packs."""

from __future__ import annotations

import random
import sys
import time
from pathlib import Path

from dosewright.roof.children import Child, manage, wait_for, web
from dosewright.roof.demo import finish, house, orders, packs, plates, report, summary
from dosewright.roof.demo.medicines import set_up_medicines, show_what_the_balance_refuses
from dosewright.roof.demo.needs import needed, some_unpacked
from dosewright.roof.demo.stage import Stage, Stuck

SEED = 20260302
STOPPED = "DEMO-ORDER-14"
ROUNDS = 2
"""How often the demo plans again for what was rejected."""


def walk(home: Path, *, orders_file: Path | None, port: int) -> None:
    """Take the orders of a file, or of the scenario, the whole way in a fresh demo home; raises BadInput, Stuck."""
    begun = time.monotonic()
    stage = Stage(home=home)
    stage.open()
    requests = _begin(stage, orders_file)
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


def _begin(stage: Stage, orders_file: Path | None) -> orders.Requests:
    """Set the demo's clock and return the orders: a file's days are real ones, the scenario's count from the demo's."""
    if orders_file is not None:
        today = stage.now().date()
        requests = orders.read_file(orders_file, today)
        stage.start_clock(newest_days_ago=(today - orders.newest_measure(requests)).days)
        return requests
    stage.start_clock()
    orders.write_scenario(stage.home, stage.now().date())
    return orders.read_file(None, stage.now().date())


def _walk(stage: Stage, requests: orders.Requests, children: list[Child], port: int, *, scenario: bool) -> None:
    site = house.found(stage)
    packs.sign_law_into_use(stage)
    medicines = set_up_medicines(stage)
    balance = house.register_balance(stage)
    show_what_the_balance_refuses(stage)
    taken = orders.take_in(stage, requests)
    room = house.set_up_house(stage, site, balance, needed(stage, medicines, taken))
    stopped = next((one.code for one in taken if scenario and one.reference == STOPPED), "")
    made = _make(stage, room, taken, children, port, stopped=stopped, scenario=scenario)
    packs.release_and_supply(stage, made)
    if scenario and made:
        packs.take_one_back(stage, made[-1])
    report.write_papers(stage, room, made)
    summary.write(stage, taken)
    report.tell(stage, taken, made)


def _make(
    stage: Stage,
    room: house.House,
    taken: list[orders.Taken],
    children: list[Child],
    port: int,
    *,
    stopped: str,
    scenario: bool,
) -> list[packs.Packed]:
    """Plan, print, finish, judge and pack until no verified line waits; one fault in the scenario."""
    if not room.printers:
        return []
    chance = random.Random(SEED)
    batches = plates.plan_all(stage, stopped_order=stopped)
    if orders.check_again(stage, taken):
        batches += plates.plan_all(stage)
    fault = plates.Fault(batch=batches[0] if scenario and batches else "")
    children += plates.start_printers(stage, room, f"http://127.0.0.1:{port}", fault)
    made: list[packs.Packed] = []
    for number in range(ROUNDS):
        printed = _print(stage, room, batches)
        made += _finish(stage, room, printed, chance, reject_one=scenario and number == 0)
        if not some_unpacked(taken, made):
            break
        batches = plates.plan_all(stage)
    return made


def _print(stage: Stage, room: house.House, waiting: list[str]) -> list[str]:
    """Print batches, two printers side by side, until none waits; what faulted is planned again."""
    printed: list[str] = []
    while waiting:
        done = plates.print_batches(stage, room, plates.next_batches(stage, room, waiting))
        for code, is_good in done.items():
            waiting.remove(code)
            if is_good:
                finish.take_off(stage, code)
                printed.append(code)
                continue
            stage.say(f"batch {code} is over for good; its lines are planned again under a new number")
            plates.close_fault(stage, code)
            waiting += plates.plan_all(stage)
    return printed


def _finish(
    stage: Stage, room: house.House, printed: list[str], chance: random.Random, *, reject_one: bool
) -> list[packs.Packed]:
    made: list[packs.Packed] = []
    for number, code in enumerate(printed):
        finish.finish_and_judge(stage, room, code, chance, reject_one=reject_one and number == 0)
        made += packs.pack_batch(stage, code)
    return made
