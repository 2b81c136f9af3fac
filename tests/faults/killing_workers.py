"""A worker is killed at every step of every kind of work; another process must find the row and do it once."""

from __future__ import annotations

import time

from tests.faults import counting
from tests.faults.clearing import cleared
from tests.faults.making_work import (
    ACTIONS,
    AGAIN,
    DELIVER,
    MAKING,
    NAMES,
    PATIENT,
    PLAN,
    SEAL,
    STOPPED,
    Piece,
    Ward,
    effect,
    state,
)
from tests.faults.programs import Program
from tests.faults.rows import CannotRun, Ledger, Told, Wanted
from tests.faults.trial import LEASE_S, POSTGRESQL, SQLITE, Trial

CLEARED = "files-left-behind"
KILL_WORKER, KILL_PROGRAM = "kill-worker", "kill-worker-program"
ACTION_STEPS = ("action-begun", "action-done", "action-recorded", "action-committed")
STEPS = {
    PATIENT: ("work-found", "work-claimed", *ACTION_STEPS),
    MAKING: ("work-claimed", *ACTION_STEPS),
    AGAIN: ("work-claimed", *ACTION_STEPS),
    PLAN: ("work-claimed", "work-under-way", *ACTION_STEPS),
    DELIVER: ("work-claimed", "file-half", "file-whole", "file-named", *ACTION_STEPS),
    STOPPED: ("work-claimed", *ACTION_STEPS),
    SEAL: ("work-claimed", *ACTION_STEPS),
}
"""Every step that each kind of work passes."""

WHOLE_PROGRAM = {PATIENT: ("action-recorded",), PLAN: ("work-under-way", "action-committed"), DELIVER: ("file-whole",)}


def kill_workers(trial: Trial, ward: Ward, ledger: Ledger, wanted: Wanted) -> None:
    """Strike each kind of work at each of its steps."""
    for fault, table in ((KILL_WORKER, STEPS), (KILL_PROGRAM, WHOLE_PROGRAM)):
        for kind, steps in table.items():
            for step in steps:
                name = f"{NAMES[kind]}:{step}"
                if wanted(fault, name):
                    with ledger.row(fault, name) as told:
                        _strike(trial, ward, told, kind, step, whole=fault == KILL_PROGRAM)
                    trial.recover()
    if wanted(KILL_WORKER, CLEARED):
        with ledger.row(KILL_WORKER, CLEARED) as told:
            cleared(trial, told)


def _strike(trial: Trial, ward: Ward, told: Told, kind: str, step: str, *, whole: bool) -> None:
    if whole and trial.database == SQLITE:
        raise CannotRun("`work` is one process: kill-worker kills the whole program")
    act = ward.make(kind)
    trial.quiet()
    worker = trial.worker
    held = step != "work-found"
    worker.arm("hold" if held else "kill", "work-claimed" if held else step, kind if held else "*")
    piece = act()
    worker.wait_met()
    if kind == SEAL:
        # More than one hour may be due to be sealed: it is about the one that was claimed.
        piece = ward.sealing("leased")
    if held:
        _lead_to(trial, worker, kind, step, whole=whole)
    _after_the_kill(trial, told, piece, step)
    _begin_again(trial, worker, whole=whole)
    if state(trial.home, piece)[0] == "leased":
        trial.move_clock(LEASE_S)
    _in_the_end(trial, told, piece)


def _lead_to(trial: Trial, worker: Program, kind: str, step: str, *, whole: bool) -> None:
    """Lead the process that is held at its claim to the step, once all other work is done, and kill it there."""
    if kind != SEAL and trial.database == POSTGRESQL:
        trial.home.until("the other work", lambda: trial.home.open_work() == 1)
    if step != "work-claimed":
        about = ".3mf" if step.startswith("file") else NAMES_AT.get(step, ACTIONS[kind])
        worker.arm_held("hold" if whole else "kill", step, kind if about == "kind" else about)
        worker.wait_met()
    if whole:
        worker.kill()
    elif step == "work-claimed":
        worker.kill_held()


NAMES_AT = {"work-under-way": "kind"}
"""Steps that tell the kind of work; the others tell the action."""


def _after_the_kill(trial: Trial, told: Told, piece: Piece, step: str) -> None:
    time.sleep(0.2)
    effects, (row, attempts) = effect(trial.home, piece), state(trial.home, piece)
    committed = step == "action-committed"
    assert effects == int(committed), f"after the kill the effect stands {effects} times"
    told.say(f"killed: effect {effects}, row {row}, attempts {attempts}")
    if committed and piece.kind == STOPPED:
        # Each batch is cancelled by an action of its own; the row is closed after the last one.
        assert row == "leased", row
        return
    assert row == ("done" if committed else "waiting" if step == "work-found" else "leased"), row


def _begin_again(trial: Trial, worker: Program, *, whole: bool) -> None:
    """Start the program again as whoever watches it does; Celery replaces a killed process by itself."""
    if whole or trial.database == SQLITE:
        worker.again()


def _in_the_end(trial: Trial, told: Told, piece: Piece) -> None:
    home = trial.home
    home.until("the work", lambda: state(home, piece)[0] not in {"waiting", "leased"}, within_s=120)
    trial.quiet()
    row, attempts = state(home, piece)
    effects = effect(home, piece)
    assert (row, effects) == ("done", 1), f"in the end the row is {row}, the effect stands {effects} times"
    left = len(counting.left_over(home))
    told.say(f"in the end: effect 1, row done, attempts {attempts}; {left} files left to be cleared")
    wrong = counting.troubles(home)
    assert not wrong, "; ".join(wrong)
    if piece.seen_at != "audit":
        seen = home.rosa.get(piece.seen_at)
        told.seen = f"{piece.seen_at.partition('/')[0]} is {seen['state']}"
    else:
        told.seen = "audit trail"
