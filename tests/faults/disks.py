"""The disk is full while a plate file, a PDF or the database itself is written; then there is room again."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

from tests.faults import counting
from tests.faults.counting import FILLER
from tests.faults.making_work import DELIVER, Ward, state
from tests.faults.rows import CannotRun, Ledger, Told, Wanted
from tests.faults.sharing import settled
from tests.faults.trial import SQLITE, Trial
from tests.flows.client import API, Answer
from tests.flows.ordering import enter_and_sign, screened

FULL = "disk-full"
LONG_S = 40
"""How long the disk stays full: longer than five attempts at five seconds' distance."""


def fill_disks(trial: Trial, ward: Ward, ledger: Ledger, wanted: Wanted) -> None:
    """Run the rows of this family that are wanted."""
    rows: dict[str, Callable[[Told], None]] = {
        "deliver:plate-file": lambda told: _plate_file(trial, ward, told),
        "document.make:pdf": lambda told: _pdf(trial, ward, told),
        "order.enter:database": lambda told: _database(trial, ward, told),
    }
    for step, run in rows.items():
        if wanted(FULL, step):
            with ledger.row(FULL, step) as told:
                run(told)
            for folder in trial.disks.values():
                (folder / FILLER).unlink(missing_ok=True)
            trial.recover()


@contextmanager
def full(trial: Trial, name: str) -> Iterator[None]:
    """Let a disk be full."""
    if name not in trial.disks:
        raise CannotRun("no tmpfs may be mounted here")
    filler = trial.disks[name] / FILLER
    with filler.open("wb", buffering=0) as file, suppress(OSError):
        while file.write(b"\0" * 65536):
            pass
    with filler.open("ab", buffering=0) as file, suppress(OSError):
        while file.write(b"\0"):
            pass
    try:
        yield
    finally:
        filler.unlink(missing_ok=True)


def _plate_file(trial: Trial, ward: Ward, told: Told) -> None:
    act = ward.make(DELIVER)
    trial.quiet()
    with full(trial, "print-files"):
        piece = act()
        trial.home.until("an attempt", lambda: state(trial.home, piece)[1] >= 1, within_s=60)
        time.sleep(LONG_S)
        row, attempts = state(trial.home, piece)
        failure = trial.home.tables.one(f"SELECT failure FROM ground_work WHERE id = {piece.pk}")
        batch = trial.home.tomas.get(piece.seen_at)["state"]
        left = [path for path in counting.files(trial.home, "print-files") if path.stat().st_size == 0]
        assert batch == "queued", batch
        assert not left, "an empty file was left"
        told.say(f"full for {LONG_S} s: row {row} after {attempts} attempts ({failure[:60]}), batch {batch}")
        assert row != "failed", "the work was given up while the disk was full"
    trial.move_clock(900)
    settled(trial, told, piece, attempts=set(range(2, 9)))


def _pdf(trial: Trial, ward: Ward, told: Told) -> None:
    home, lot = trial.home, ward.bench.resin_lot
    path = f"{API}resin-lot/{lot}/weighing-sheet"
    numbers = "SELECT number FROM ground_document WHERE kind = (SELECT max(kind) FROM ground_document)"
    home.ada.post(f"resin-lot/{lot}/weighing-sheet")
    before, left = counting.standing(home), set(counting.left_over(home))
    with full(trial, "documents"):
        answer = home.ada.send("POST", path, b"{}", Content_Type="application/json")
        _told_of_trouble(told, answer)
        grown = counting.grown(before, counting.standing(home))
        assert not grown, f"left {grown}"
        told.say("no row was left")
    more = set(counting.left_over(home)) - left
    assert not more, f"left {len(more)} half files"
    home.ada.post(f"resin-lot/{lot}/weighing-sheet")
    series = sorted(number for (number,) in home.tables.all(numbers))
    wrong = counting.troubles(home)
    assert not wrong, "; ".join(wrong)
    told.say(f"printed when there was room again; {len(series)} sheets numbered {series[0]} to {series[-1]}")
    told.seen = "the answer says that it may not have been done"


def _database(trial: Trial, ward: Ward, told: Told) -> None:
    if trial.database != SQLITE:
        raise CannotRun("PostgreSQL's own files are not on a small disk here")
    home = trial.home
    trial.quiet()
    before = counting.standing(home)
    with full(trial, "home"):
        refused = 0
        for _ in range(40):
            body = _as_bytes(ward.order())
            answer = home.mira.send("POST", f"{API}order", body, Content_Type="application/json")
            if answer.status >= 500:
                refused += 1
                break
        assert refused, "forty orders went in and the disk never was full"
        _told_of_trouble(told, answer)
    trial.quiet()
    orders = counting.grown(before, counting.standing(home)).get("prescriptions_order", 0)
    versions = counting.grown(before, counting.standing(home)).get("prescriptions_orderversion", 0)
    assert orders == versions
    told.say(f"{orders} orders were taken before the disk was full, each with its version; the next one left no row")
    order = enter_and_sign(home, ward.order())
    screened(home, order)
    told.say("taken and screened when there was room again")
    wrong = counting.troubles(home)
    assert not wrong, "; ".join(wrong)
    told.seen = "the answer says that it may not have been done"


def _told_of_trouble(told: Told, answer: Answer) -> None:
    assert answer.status >= 500, answer.status
    told.say(f"answered {answer.status}: {answer.json['title']}")


def _as_bytes(order: object) -> bytes:
    import json

    return json.dumps({"order": order}).encode()
