"""The broker is emptied, stopped and restarted, the database restarted, beat killed, while people act and workers work.

What is done under each of them is the same: an order is signed, which leaves a piece of work for each house.
"""

from __future__ import annotations

import http.client
import time
import urllib.error
from collections.abc import Callable
from dataclasses import dataclass

from tests.faults import counting
from tests.faults.making_work import ACTIONS, DELIVER, NAMES, PATIENT, PLAN, Piece, Ward, effect, state
from tests.faults.programs import Program
from tests.faults.rows import Ledger, Told, Wanted
from tests.faults.servers import Backing
from tests.faults.trial import LEASE_S, Trial

FLUSH, STOP, RESTART, RESTART_DB, KILL_BEAT = (
    "flush-redis",
    "stop-redis",
    "restart-redis",
    "restart-postgresql",
    "kill-beat",
)
WORKER_STEPS = {
    PATIENT: ("work-claimed", "action-recorded"),
    PLAN: ("work-claimed", "work-under-way", "action-begun", "action-recorded", "action-committed"),
    DELIVER: ("work-claimed", "file-whole", "action-recorded", "action-committed"),
}
WEB_STEPS = ("action-begun", "action-done", "action-recorded", "action-committed")
OUTAGE_S = 8
"""How long a server is off: longer than a sweep's interval."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hit:
    """One fault of the servers: what happens while a process is held, and after it went on."""

    name: str
    while_held: Callable[[Trial, Backing], None]
    after: Callable[[Trial, Backing], None]


def take_servers_away(trial: Trial, ward: Ward, ledger: Ledger, wanted: Wanted) -> None:
    """Strike the servers at steps of the web server and of the worker."""
    for hit in HITS:
        for step in WEB_STEPS:
            name = f"order.sign:{step}"
            if wanted(hit.name, name):
                with ledger.row(hit.name, name) as told:
                    _while_web_is_held(trial, ward, told, hit, step)
                _settle(trial)
        for kind, steps in WORKER_STEPS.items():
            for step in steps:
                name = f"{NAMES[kind]}:{step}"
                if hit.name != KILL_BEAT and wanted(hit.name, name):
                    with ledger.row(hit.name, name) as told:
                        _while_worker_is_held(trial, ward, told, hit, kind, step)
                    _settle(trial)


def _while_web_is_held(trial: Trial, ward: Ward, told: Told, hit: Hit, step: str) -> None:
    home, servers = trial.home, _backing(trial)
    order = home.mira.post("order", {"order": ward.order()})["code"]
    trial.quiet()
    seen = home.mira.shown(f"order/{order}/sign")
    body = {"shown_digest": seen["shown_digest"], "password": home.mira.password}
    trial.web.arm("hold", step, "order.sign")
    answer = _in_background(lambda: home.mira.post(f"order/{order}/sign", body))
    trial.web.wait_met()
    hit.while_held(trial, servers)
    trial.web.release()
    answer.join()
    hit.after(trial, servers)
    told.say(f"the signer was answered {answer.said} after {answer.seconds:.1f} s")
    trial.wait_web()
    # Who was not told that it is done looks, and signs where the order still waits.
    if home.mira.get(f"order/{order}")["state"] == "waiting":
        home.mira.sign(f"order/{order}/sign")
        told.say("nothing was signed; signed again")
    _screened_once(trial, told, order)


def _screened_once(trial: Trial, told: Told, order: str) -> None:
    home = trial.home

    def reports() -> list[tuple[str, int]]:
        return home.tables.all(
            "SELECT r.screen, count(*) FROM prescriptions_screenreport r JOIN prescriptions_orderversion v"
            f" ON v.id = r.order_version_id JOIN prescriptions_order o ON o.id = v.order_id WHERE o.code = '{order}'"
            " GROUP BY r.screen ORDER BY r.screen"
        )

    begin = time.monotonic()
    home.until("both screens", lambda: len(reports()) == 2, within_s=60)
    told.say(f"both screens came {time.monotonic() - begin:.1f} s later")
    trial.quiet()
    assert reports() == [("making", 1), ("patient", 1)], reports()
    signed = home.tables.one(
        f"SELECT count(*) FROM ground_signature WHERE subject = '{order}' AND action = 'order.sign'"
    )
    assert signed == 1, f"{signed} signatures"
    told.say("1 signature, each screen 1 report")
    wrong = counting.troubles(home)
    assert not wrong, "; ".join(wrong)
    told.seen = f"order is {home.rosa.get(f'order/{order}')['state']}"


def _while_worker_is_held(trial: Trial, ward: Ward, told: Told, hit: Hit, kind: str, step: str) -> None:
    home, worker, servers = trial.home, trial.worker, _backing(trial)
    act = ward.make(kind)
    trial.quiet()
    piece = _held_at(trial, worker, act, kind, step)
    hit.while_held(trial, servers)
    worker.release()
    hit.after(trial, servers)
    trial.wait_web()
    told.say(_go_on(trial, piece))
    home.until("the work", lambda: state(home, piece)[0] not in {"waiting", "leased"}, within_s=120)
    trial.quiet()
    row, attempts = state(home, piece)
    assert (row, effect(home, piece)) == ("done", 1), (row, effect(home, piece), home.failures())
    told.say(f"in the end: effect 1, row done, attempts {attempts}")
    wrong = counting.troubles(home)
    assert not wrong, "; ".join(wrong)
    told.seen = f"{piece.seen_at.partition('/')[0]} is {home.rosa.get(piece.seen_at)['state']}"


def _held_at(trial: Trial, worker: Program, act: Callable[[], Piece], kind: str, step: str) -> Piece:
    worker.arm("hold", "work-claimed", kind)
    piece = act()
    worker.wait_met()
    if step != "work-claimed":
        trial.home.until("the other work", lambda: trial.home.open_work() == 1)
        about = ".3mf" if step.startswith("file") else kind if step == "work-under-way" else ACTIONS[kind]
        worker.arm_held("hold", step, about)
        worker.wait_met()
    return piece


def _go_on(trial: Trial, piece: Piece) -> str:
    """Let the lease of a piece run out that its worker could not give back."""
    end = time.monotonic() + 15
    while state(trial.home, piece)[0] == "leased" and time.monotonic() < end:
        time.sleep(0.2)
    if state(trial.home, piece)[0] != "leased":
        return "the worker went on or gave the row back"
    trial.move_clock(LEASE_S)
    return "the row stayed leased; its lease ran out"


class Background:
    """A request under way while something else happens."""

    def __init__(self, ask: Callable[[], object]) -> None:
        import threading

        self.said = "nothing"
        self.seconds = 0.0
        self._thread = threading.Thread(target=self._run, args=(ask,))
        self._thread.start()

    def _run(self, ask: Callable[[], object]) -> None:
        begin = time.monotonic()
        try:
            ask()
            self.said = "that it is done"
        except (http.client.HTTPException, urllib.error.URLError, OSError, AssertionError) as cut:
            self.said = "that something went wrong" if isinstance(cut, AssertionError) else "not at all"
        self.seconds = time.monotonic() - begin

    def join(self) -> None:
        """Wait for the answer."""
        self._thread.join(60)


def _in_background(ask: Callable[[], object]) -> Background:
    return Background(ask)


def _backing(trial: Trial) -> Backing:
    assert trial.backing is not None, "this stack has no servers"
    return trial.backing


def _settle(trial: Trial) -> None:
    """Bring everything back for the next row, whatever the last one led to."""
    servers = _backing(trial)
    for one in (servers.redis, servers.postgres):
        if not one.answers():
            one.off()
            one.on()
    for program in trial.programs.values():
        program.release()
        if not program.is_alive:
            program.begin()
    trial.quiet()
    trial.wait_web()


def _restart_redis(trial: Trial, servers: Backing) -> None:
    servers.redis.off()
    servers.redis.on()


def _restart_database(trial: Trial, servers: Backing) -> None:
    servers.postgres.off()
    servers.postgres.on()


def _redis_comes_back(trial: Trial, servers: Backing) -> None:
    time.sleep(OUTAGE_S)
    servers.redis.on()


def _flush_twice(trial: Trial, servers: Backing) -> None:
    servers.flush()
    time.sleep(0.5)
    servers.flush()


def _kill_beat(trial: Trial, servers: Backing) -> None:
    trial.programs["beat"].kill()
    servers.flush()


def _begin_beat(trial: Trial, servers: Backing) -> None:
    servers.flush()
    time.sleep(OUTAGE_S)
    (trial.folder / "beat.pid").unlink(missing_ok=True)
    trial.programs["beat"].begin()


def _nothing(trial: Trial, servers: Backing) -> None:
    return


HITS = (
    Hit(name=RESTART_DB, while_held=_restart_database, after=_nothing),
    Hit(name=KILL_BEAT, while_held=_kill_beat, after=_begin_beat),
    Hit(name=RESTART, while_held=_restart_redis, after=_nothing),
    Hit(name=STOP, while_held=lambda trial, servers: servers.redis.off(), after=_redis_comes_back),
    Hit(name=FLUSH, while_held=lambda trial, servers: servers.flush(), after=_flush_twice),
)
