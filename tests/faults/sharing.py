"""More than one of everything: schedulers, workers, deliveries of one wake-up, and work that overtakes work."""

from __future__ import annotations

import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from typing import Any

from dosewright.roof.children import manage
from tests.faults import counting
from tests.faults.making_work import ACTIONS, AGAIN, DELIVER, NAMES, PATIENT, PLAN, Piece, Ward, effect, state
from tests.faults.programs import MET_WITHIN_S, Program
from tests.faults.rows import CannotRun, Ledger, Told, Wanted
from tests.faults.trial import LEASE_S, POSTGRESQL, SQLITE, Trial
from tests.flows.living import celery_programs
from tests.flows.ordering import enter_and_sign, screened

TWICE, ORDER, SCHEDULERS, LEASE = "delivered-twice", "out-of-order", "two-schedulers", "lease-lost"
ORDERS = 5
"""How many orders come in at once; each leaves two pieces of work."""

WAKE_UPS = 20
SEND = (
    "from dosewright.roof.celery import app\n"
    f"for _ in range({WAKE_UPS}): app.send_task('dosewright.sweep', ignore_result=True)\n"
)
TWICE_AT = ((PATIENT, "work-claimed"), (PLAN, "work-under-way"), (DELIVER, "file-whole"))
LEASE_AT = (
    (PATIENT, "work-claimed"),
    (PLAN, "work-claimed"),
    (PLAN, "work-under-way"),
    (PLAN, "action-begun"),
    (PLAN, "action-recorded"),
    (DELIVER, "file-whole"),
    (DELIVER, "action-begun"),
)
LOCKING = frozenset({"action-begun", "action-recorded"})
"""Steps inside a transaction, which on SQLite holds the one lock of the database."""


def share(trial: Trial, ward: Ward, ledger: Ledger, wanted: Wanted) -> None:
    """Run the rows of this family that are wanted."""
    for fault, run, pairs in ((TWICE, _twice, TWICE_AT), (LEASE, _lease, LEASE_AT)):
        for kind, step in pairs:
            name = f"{NAMES[kind]}:{step}"
            _row(trial, ledger, wanted, fault, name, partial(run, trial, ward, kind=kind, step=step))
    _row(trial, ledger, wanted, ORDER, "screen-again:work-claimed", lambda told: _overtaken(trial, ward, told))
    _row(
        trial,
        ledger,
        wanted,
        SCHEDULERS,
        "ten-pieces-at-once",
        lambda told: _two_schedulers(trial, ward, told, kill=False),
    )
    _row(trial, ledger, wanted, SCHEDULERS, "one-is-killed", lambda told: _two_schedulers(trial, ward, told, kill=True))


def _row(trial: Trial, ledger: Ledger, wanted: Wanted, fault: str, step: str, run: Any) -> None:
    if wanted(fault, step):
        with ledger.row(fault, step) as told:
            run(told)
        trial.recover()


def held_at(trial: Trial, ward: Ward, kind: str, step: str) -> Piece:
    """Bring a piece of work about and hold its process at a step."""
    act = ward.make(kind)
    trial.quiet()
    worker = trial.worker
    worker.arm("hold", "work-claimed", kind)
    piece = act()
    worker.wait_met()
    if step != "work-claimed":
        if trial.database == POSTGRESQL:
            trial.home.until("the other work", lambda: trial.home.open_work() == 1)
        about = ".3mf" if step.startswith("file") else kind if step == "work-under-way" else ACTIONS[kind]
        worker.arm_held("hold", step, about)
        worker.wait_met()
    return piece


def settled(trial: Trial, told: Told, piece: Piece, *, attempts: set[int]) -> None:
    """Wait for the end of a piece and count its effect: once, by as many attempts as expected."""
    home = trial.home
    home.until("the work", lambda: state(home, piece)[0] not in {"waiting", "leased"}, within_s=120)
    trial.quiet()
    row, tried = state(home, piece)
    assert (row, effect(home, piece)) == ("done", 1), (row, effect(home, piece), home.failures())
    assert tried in attempts, f"{tried} attempts where {attempts} were expected"
    told.say(f"in the end: effect 1, row done, attempts {tried}")
    wrong = counting.troubles(home)
    assert not wrong, "; ".join(wrong)
    told.seen = f"{piece.seen_at.partition('/')[0]} is {home.rosa.get(piece.seen_at)['state']}"


def wake_many(trial: Trial) -> None:
    """Send the wake-up many times over."""
    if trial.database == POSTGRESQL:
        trial.home.stack.python("-c", SEND)
        return
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as bell:
        for _ in range(WAKE_UPS):
            try:
                bell.setblocking(False)
                bell.sendto(b"1", str(trial.home.path / "work.sock"))
            except (BlockingIOError, ConnectionRefusedError, FileNotFoundError):
                # The kernel keeps only some, and only where somebody listens.
                return


def _twice(trial: Trial, ward: Ward, told: Told, *, kind: str, step: str) -> None:
    piece = held_at(trial, ward, kind, step)
    wake_many(trial)
    with second_worker(trial, "twice"):
        time.sleep(6)
        assert effect(trial.home, piece) == 0
        told.say(f"{WAKE_UPS} wake-ups and a second worker while it is under way: effect 0, nobody else takes it")
        trial.worker.release()
        wake_many(trial)
        settled(trial, told, piece, attempts={1})


def _lease(trial: Trial, ward: Ward, told: Told, *, kind: str, step: str) -> None:
    if trial.database == SQLITE and step in LOCKING:
        raise CannotRun("on SQLite a process inside its transaction holds the database's one lock: nobody overtakes it")
    piece = held_at(trial, ward, kind, step)
    trial.move_clock(LEASE_S)
    with second_worker(trial, "lease"):
        if step == "action-recorded":
            time.sleep(8)
            assert effect(trial.home, piece) == 0
            told.say("the lease runs out inside the transaction: the other worker waits for its end")
            trial.worker.release()
            settled(trial, told, piece, attempts={1, 2})
            return
        trial.home.until("the other worker's end", lambda: state(trial.home, piece)[0] == "done", within_s=120)
        assert effect(trial.home, piece) == 1
        told.say("the lease runs out: the other worker does it, effect 1")
        trial.worker.release()
        time.sleep(5)
        told.say("the first goes on and writes nothing")
        settled(trial, told, piece, attempts={2})


def _overtaken(trial: Trial, ward: Ward, told: Told) -> None:
    home = trial.home
    order = enter_and_sign(home, ward.order())
    patient = screened(home, order)["patient"]
    trial.quiet()
    trial.worker.arm("hold", "work-claimed", AGAIN)
    _measure(ward, patient, "20.6")
    trial.worker.wait_met()
    with second_worker(trial, "order"):
        _measure(ward, patient, "20.9")
        home.until("the newer work", lambda: home.open_work() == 1, within_s=60)
        told.say("the newer screen ended first")
        trial.worker.release()
        trial.quiet()
    query = (
        "SELECT r.text FROM prescriptions_screenreport r JOIN prescriptions_orderversion v ON v.id = r.order_version_id"
        f" JOIN prescriptions_order o ON o.id = v.order_id WHERE o.code = '{order}' AND r.screen = 'patient'"
    )
    weights = [text for (text,) in home.tables.all(f"{query} ORDER BY r.id")]
    assert len(weights) == 3, f"{len(weights)} reports"
    assert "20.9" in weights[-1], "the last report was made with an older weight"
    told.say("3 reports, the last one of the newest weight")
    twice = home.tables.all(
        "SELECT fingerprint FROM prescriptions_alert GROUP BY order_version_id, fingerprint HAVING count(*) > 1"
    )
    wrong = [*counting.troubles(home), *(f"an alert stands twice: {one}" for one in twice)]
    assert not wrong, "; ".join(wrong)
    told.say("no alert twice")
    told.seen = "reports and alerts on the order"


def _measure(ward: Ward, patient: str, weight: str) -> None:
    today = ward.home.now().date().isoformat()
    ward.home.rosa.post(
        f"patient/{patient}/measure", {"kind": "weight", "value": weight, "unit": "kg", "measured_on": today}
    )


def _two_schedulers(trial: Trial, ward: Ward, told: Told, *, kill: bool) -> None:
    home = trial.home
    trial.quiet()
    before = home.tables.one("SELECT count(*) FROM prescriptions_screenreport")
    first = home.tables.one("SELECT coalesce(max(id), 0) FROM ground_work")
    with second_worker(trial, "second", beat=True) as others:
        workers = [trial.worker, others[0]]
        for one in workers if kill else []:
            one.arm("kill", "action-recorded", "order.screen")
        for _ in range(ORDERS):
            enter_and_sign(home, ward.order())
        struck = _struck(workers) if kill else []
        for one in struck:
            one.again()
        if struck:
            home.until("what was not left behind", lambda: home.open_work() <= len(struck), within_s=60)
            trial.move_clock(LEASE_S)
        trial.quiet()
    reports = home.tables.one("SELECT count(*) FROM prescriptions_screenreport") - before
    works = f"FROM ground_work WHERE id > {first} AND kind LIKE 'fact:%'"
    done, attempts = home.tables.all(f"SELECT count(*), sum(attempts) {works} AND state = 'done'")[0]
    assert (done, reports) == (2 * ORDERS, 2 * ORDERS), (done, reports)
    # A program that is begun again takes down its second process with the one that was struck.
    least = 2 * ORDERS + len(struck)
    assert least <= attempts <= least + len(struck), f"{attempts} attempts"
    told.say(f"{done} pieces done by {attempts} attempts, {reports} reports")
    wrong = counting.troubles(home)
    assert not wrong, "; ".join(wrong)
    told.seen = "orders and their reports"


def _struck(workers: list[Program]) -> list[Program]:
    """Wait until one of the workers, or both, met the step; return those."""
    end = time.monotonic() + MET_WITHIN_S
    while not any(one.met for one in workers):
        assert time.monotonic() < end, "no worker met the step"
        time.sleep(0.1)
    time.sleep(1)
    for one in workers:
        (one.steps / "armed").unlink(missing_ok=True)
    return [one for one in workers if one.met]


@contextmanager
def second_worker(trial: Trial, name: str, *, beat: bool = False) -> Iterator[list[Program]]:
    """Run a second `work`, or a second Celery worker, with a second beat where it is asked for."""
    if trial.database == SQLITE:
        commands = {f"work-{name}": manage("work")}
    else:
        folder = trial.folder / name
        folder.mkdir(exist_ok=True)
        named = dict(celery_programs(folder))
        line = [f"{name}@%h" if part == "flow@%h" else part for part in named["worker"]]
        commands = {f"worker-{name}": line} | ({f"beat-{name}": named["beat"]} if beat else {})
    programs = [
        Program(name=one, command=line, env=trial.worker.env, folder=trial.folder) for one, line in commands.items()
    ]
    try:
        for one in programs:
            one.begin()
        yield programs
    finally:
        trial.worker.release()
        for one in programs:
            one.kill()
        if trial.database == SQLITE:
            # The second worker took the name of the wake-up socket with it; the first one polls until it is begun anew.
            trial.worker.again()
