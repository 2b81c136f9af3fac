"""Pieces of background work to be struck: for each kind how people bring it about, and how its effect is counted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import count
from typing import Any

from tests.faults.trial import Trial
from tests.flows.compounding import Bench, ready_bench
from tests.flows.living import Home
from tests.flows.ordering import checked, enter_and_sign, order_for, screened, set_up_substance

PATIENT = "fact:order received:prescriptions.tasks.screen_order_received"
MAKING = "fact:order received:printing.plates.tasks.size_provisionally"
AGAIN = "screen order"
PLAN = "plan"
DELIVER = "deliver"
STOPPED = "fact:order stopped:printing.plates.tasks.cancel_what_was_stopped"
SEAL = "seal reads"

HOUR_AND_GRACE_S = 4300
"""An hour and its ten minutes, after which an hour's looks are sealed."""

NAMES = {
    PATIENT: "screen-patient",
    MAKING: "screen-making",
    AGAIN: "screen-again",
    PLAN: "plan",
    DELIVER: "deliver",
    STOPPED: "cancel-stopped",
    SEAL: "seal-reads",
}
ACTIONS = {
    PATIENT: "order.screen",
    MAKING: "order.screen",
    AGAIN: "order.screen",
    PLAN: "plan.make",
    DELIVER: "batch.deliver",
    STOPPED: "batch.cancel",
    SEAL: "reads.seal",
}


@dataclass(slots=True, kw_only=True)
class Piece:
    """One piece of work that somebody brought about: its id, its kind, and what counts its effect."""

    pk: int
    kind: str
    effect: str
    seen_at: str


class Ward:
    """People who bring work about, each time for a new invented patient, so that no two pieces touch."""

    def __init__(self, trial: Trial) -> None:
        self.trial = trial
        self.home: Home = trial.home
        self.numbers = count(1)
        set_up_substance(self.home)
        self.bench: Bench = ready_bench(self.home)
        trial.quiet()

    def make(self, kind: str) -> Callable[[], Piece]:
        """Prepare what comes before, and return the act that leaves the piece of work."""
        return {
            PATIENT: lambda: self._screen(PATIENT),
            MAKING: lambda: self._screen(MAKING),
            AGAIN: self._screen_again,
            PLAN: self._plan,
            DELIVER: self._deliver,
            STOPPED: self._stop,
            SEAL: self._seal,
        }[kind]()

    def order(self) -> dict[str, Any]:
        """Return the order of a new patient: three doses of 2 mg."""
        number = next(self.numbers)
        patient = {
            "identifier": {"system": "urn:demo:hospital-number", "value": f"D-{5000 + number}"},
            "family_name": f"Inventedname{_letters(number)}",
            "given_name": f"Given{_letters(number * 7)}",
        }
        return order_for(self.home, f"FAULT-{number:04d}", ("2 mg", "07:00"), days=3, patient=patient)

    def verified(self) -> str:
        """Take a new order to verified and return its code."""
        code = enter_and_sign(self.home, self.order())
        screened(self.home, code)
        checked(self.home, code)
        return code

    def planned(self) -> tuple[str, str]:
        """Plan a new order; return its code and that of its batch."""
        order = self.verified()
        plan = self._request()
        self.home.until("the plan", lambda: self.home.tomas.get(f"plan/{plan}")["state"] == "done")
        return order, self.home.tomas.get(f"plan/{plan}")["batches"][0]

    def _screen(self, kind: str) -> Callable[[], Piece]:
        entered = self.home.mira.post("order", {"order": self.order()})["code"]

        def act() -> Piece:
            self.home.mira.sign(f"order/{entered}/sign")
            screen = "patient" if kind == PATIENT else "making"
            return self._piece(kind, _reports(entered, screen), f"order/{entered}", f'%"{entered}"%')

        return act

    def _screen_again(self) -> Callable[[], Piece]:
        order = enter_and_sign(self.home, self.order())
        patient = screened(self.home, order)["patient"]

        def act() -> Piece:
            today = self.home.now().date().isoformat()
            weight = {"kind": "weight", "value": "20.6", "unit": "kg", "measured_on": today}
            self.home.rosa.post(f"patient/{patient}/measure", weight)
            # The first screen's report stands already.
            return self._piece(AGAIN, f"{_reports(order, 'patient')} - 1", f"order/{order}", f'%"{order}"%')

        return act

    def _request(self) -> str:
        asked = {"resin_lot": self.bench.resin_lot, "printer": self.bench.printer}
        return str(self.home.tomas.post("plan", asked)["code"])

    def _plan(self) -> Callable[[], Piece]:
        order = self.verified()

        def act() -> Piece:
            plan = self._request()
            zones = (
                "SELECT count(*) FROM plates_zone z JOIN prescriptions_doseline l ON l.id = z.line_id"
                f" JOIN prescriptions_order o ON o.id = l.order_id WHERE o.code = '{order}'"
            )
            return self._piece(PLAN, zones, f"plan/{plan}", f'%"{plan}"%')

        return act

    def _deliver(self) -> Callable[[], Piece]:
        _, batch = self.planned()

        def act() -> Piece:
            self.home.tomas.post(f"batch/{batch}/approve")
            made = (
                "SELECT count(*) FROM plates_platefile f JOIN plates_printbatch b ON b.id = f.batch_id"
                f" WHERE b.code = '{batch}' AND b.state = 'ready'"
            )
            return self._piece(DELIVER, made, f"batch/{batch}", f'%"{batch}"%')

        return act

    def _stop(self) -> Callable[[], Piece]:
        order, batch = self.planned()

        def act() -> Piece:
            self.home.mira.post(f"order/{order}/stop", {"reason": "treatment ended (invented)"})
            done = (
                "SELECT count(*) FROM ground_auditentry WHERE outcome = 'done' AND action = 'batch.cancel'"
                f" AND subject = '{batch}'"
            )
            return self._piece(STOPPED, done, f"batch/{batch}", f'%"{order}"%')

        return act

    def _seal(self) -> Callable[[], Piece]:
        order = enter_and_sign(self.home, self.order())
        screened(self.home, order)
        self.trial.quiet()

        def act() -> Piece:
            self.home.rosa.get(f"order/{order}")
            self.trial.move_clock(HOUR_AND_GRACE_S)
            return self.sealing("waiting")

        return act

    def sealing(self, state: str) -> Piece:
        """Return the sealing of the newest hour that is in a state."""
        seals = f"SELECT id FROM ground_work WHERE kind = '{SEAL}'"
        piece = self.home.tables.one(f"{seals} AND state IN ('{state}', 'done') ORDER BY state DESC, id DESC LIMIT 1")
        done = (
            "(SELECT count(*) FROM ground_auditentry WHERE action = 'reads.seal' AND outcome = 'done')"
            f" - (SELECT count(*) FROM ground_work WHERE kind = '{SEAL}' AND state = 'done' AND id <> {piece})"
        )
        return Piece(pk=piece, kind=SEAL, effect=done, seen_at="audit")

    def _piece(self, kind: str, effect: str, seen_at: str, payload: str) -> Piece:
        query = (
            f"SELECT id FROM ground_work WHERE kind = '{kind}' AND payload LIKE '{payload}' ORDER BY id DESC LIMIT 1"
        )
        return Piece(pk=self.home.tables.one(query), kind=kind, effect=effect, seen_at=seen_at)


def state(home: Home, piece: Piece) -> tuple[str, int]:
    """Return the state and attempts of a piece of work."""
    found = home.tables.all(f"SELECT state, attempts FROM ground_work WHERE id = {piece.pk}")
    return str(found[0][0]), int(found[0][1])


def effect(home: Home, piece: Piece) -> int:
    """Return how often the effect of a piece of work stands."""
    return int(home.tables.one(piece.effect if piece.effect.startswith("SELECT count") else f"SELECT ({piece.effect})"))


def _reports(order: str, screen: str) -> str:
    return (
        "(SELECT count(*) FROM prescriptions_screenreport r"
        " JOIN prescriptions_orderversion v ON v.id = r.order_version_id"
        f" JOIN prescriptions_order o ON o.id = v.order_id WHERE o.code = '{order}' AND r.screen = '{screen}'"
        " AND r.occasion = 'order')"
    )


def _letters(number: int) -> str:
    return "".join(chr(ord("a") + int(digit)) for digit in str(number))
