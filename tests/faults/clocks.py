"""The home's clock is set back by an hour while work waits, is under way, was left behind, or people act."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from tests.faults import counting
from tests.faults.making_work import DELIVER, NAMES, PATIENT, PLAN, SEAL, Ward, effect, state
from tests.faults.rows import Ledger, Told, Wanted
from tests.faults.sharing import held_at, settled
from tests.faults.trial import SQLITE, Trial
from tests.flows.audit_evidence import verified_by_command
from tests.flows.ordering import enter_and_sign, screened

BACK = "clock-back"
HOUR_S = 3600
SOON_S = 45
"""Within this time work that was due must be done, whatever the clock says."""


def set_back(trial: Trial, ward: Ward, ledger: Ledger, wanted: Wanted) -> None:
    """Run the rows of this family that are wanted."""
    rows: dict[str, Callable[[Told], None]] = {
        "screen-patient:waiting": lambda told: _waiting(trial, ward, told),
        "screen-patient:left-behind": lambda told: _left_behind(trial, ward, told),
        "plan:under-way": lambda told: _under_way(trial, ward, told, PLAN, "work-under-way"),
        "deliver:under-way": lambda told: _under_way(trial, ward, told, DELIVER, "file-whole"),
        "deliver:failed-and-waiting": lambda told: _failed(trial, ward, told),
        "order.enter:between": lambda told: _acting(trial, ward, told),
        "seal-reads:between": lambda told: _sealing(trial, ward, told),
    }
    for step, run in rows.items():
        if wanted(BACK, step):
            with ledger.row(BACK, step) as told:
                run(told)
            trial.recover()


@contextmanager
def hour_back(trial: Trial) -> Iterator[None]:
    """Set the clock back by an hour, and forward again after."""
    trial.move_clock(-HOUR_S)
    try:
        yield
    finally:
        trial.move_clock(HOUR_S)


def _waiting(trial: Trial, ward: Ward, told: Told) -> None:
    act = ward.make(PATIENT)
    trial.quiet()
    trial.worker.kill()
    piece = act()
    told.say("no worker runs, work waits")
    with hour_back(trial):
        trial.worker.begin()
        _soon(trial, told, lambda: state(trial.home, piece)[0] == "done")
        settled(trial, told, piece, attempts={1})


def _left_behind(trial: Trial, ward: Ward, told: Told) -> None:
    piece = held_at(trial, ward, PATIENT, "work-claimed")
    trial.worker.kill_held()
    if trial.database == SQLITE:
        trial.worker.again()
    told.say("a worker died with its lease")
    with hour_back(trial):
        _soon(trial, told, lambda: state(trial.home, piece)[0] == "done")
        settled(trial, told, piece, attempts={2})


def _under_way(trial: Trial, ward: Ward, told: Told, kind: str, step: str) -> None:
    piece = held_at(trial, ward, kind, step)
    with hour_back(trial):
        time.sleep(6)
        trial.worker.release()
        settled(trial, told, piece, attempts={1, 2})


def _failed(trial: Trial, ward: Ward, told: Told) -> None:
    """A file that cannot be written makes an attempt fail; its next attempt was due in seconds."""
    act = ward.make(DELIVER)
    trial.quiet()
    folder = trial.home.path / "print-files" / ward.bench.printer
    aside = folder.with_name(f".aside-{folder.name}")
    if folder.exists():
        folder.rename(aside)
    folder.touch()
    piece = act()
    trial.home.until("a failed attempt", lambda: state(trial.home, piece) >= ("waiting", 1), within_s=60)
    told.say("an attempt failed")
    with hour_back(trial):
        folder.unlink()
        if aside.exists():
            aside.rename(folder)
        _soon(trial, told, lambda: state(trial.home, piece)[0] == "done")
        settled(trial, told, piece, attempts={2, 3, 4})


def _acting(trial: Trial, ward: Ward, told: Told) -> None:
    home = trial.home
    first = enter_and_sign(home, ward.order())
    screened(home, first)
    trial.quiet()
    with hour_back(trial):
        second = enter_and_sign(home, ward.order())
        _soon(trial, told, lambda: len(home.rosa.get(f"order/{second}")["reports"]) == 2)
        trial.quiet()
        again = home.mira.get(f"order/{first}")["state"]
        assert again == "received", again
    _clean(trial, told)
    told.seen = "order is received; the audit trail keeps the order in which things were done"


def _sealing(trial: Trial, ward: Ward, told: Told) -> None:
    home = trial.home
    act = ward.make(SEAL)
    with hour_back(trial):
        piece = act()
        _soon(trial, told, lambda: state(home, piece)[0] == "done")
        assert effect(home, piece) == 1, effect(home, piece)
        told.say("the seal stands once")
    home.rosa.get(home.tables.one("SELECT 'order/' || code FROM prescriptions_order ORDER BY id LIMIT 1"))
    _clean(trial, told)
    told.seen = "audit trail"


def _soon(trial: Trial, told: Told, ended: Callable[[], bool]) -> None:
    begin = time.monotonic()
    trial.home.until(f"the work of before the clock was set back ({NAMES[PATIENT]})", ended, within_s=SOON_S)
    told.say(f"done {time.monotonic() - begin:.0f} s after the clock was set back")


def _clean(trial: Trial, told: Told) -> None:
    code, found = verified_by_command(trial.home.stack.env)
    assert (code, found["faults"]) == (0, []), found["faults"][:3]
    told.say(f"verify_audit reads {found['entries']} entries and finds no fault")
    wrong = counting.troubles(trial.home)
    assert not wrong, "; ".join(wrong)
