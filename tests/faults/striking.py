"""People whose every first action of a kind is struck: the web server is killed at each step of it, one after another.

They do what people do when no answer comes: they repeat, or look at the record first.
"""

from __future__ import annotations

import http.client
import json
import time
import urllib.error
from dataclasses import dataclass, field
from typing import Any

from tests.cast import PASSWORD
from tests.faults import counting
from tests.faults.programs import NotMet
from tests.faults.rows import BROKEN, HELD, Ledger, Wanted
from tests.faults.trial import Trial
from tests.flows.client import API, Answer, Person, sign_in
from tests.flows.living import CAST

KILL_WEB = "kill-web"
BEFORE = ("action-begun", "action-done", "action-recorded")
AFTER = "action-committed"
FILES = ("file-half", "file-whole", "file-named")
WRITERS = {"label.issue", "pack.release"}
"""Actions that write a PDF."""

CREATES = {
    "order": "order.enter",
    "substance": "substance.set_up",
    "formulation": "formulation.draft",
    "equipment": "equipment.register",
    "ingredient-lot": "ingredient_lot.receive",
    "resin-lot": "resin_lot.start",
    "printer": "printer.register",
    "tank-fill": "tank.fill",
    "plan": "plan.request",
    "pack": "pack.start",
    "patient": "patient.register",
    "deviation": "deviation.open",
    "token": "token.create",
}
"""The action behind each address that makes a record; the other addresses say theirs when they are asked."""

LOOK_FIRST = {
    "substance.set_up", "formulation.draft", "equipment.register", "ingredient_lot.receive", "resin_lot.start",
    "printer.register", "tank.fill", "plan.request", "printer.check", "resin_lot.test", "run.gate", "run.mass",
    "run.appearance", "run.content", "resin_lot.weigh", "patient.measure", "equipment.check", "equipment.clean",
    "deviation.open", "premix.start", "premix.weigh", "premix.assay", "patient.reveal",
}  # fmt: skip
"""What may rightly be done a second time (a second lot, a second reading): who got no answer looks before repeating."""

PLACES = {"order/import": "order.import", "ingredient-lot/premix": "premix.start"}
"""Addresses with a word where others have a code."""

MADE_FOR = {
    "pack.start": "SELECT p.code FROM labels_pack p JOIN plates_zone z ON z.id = p.zone_id WHERE z.code = '{subject}'"
    " ORDER BY p.id DESC LIMIT 1",
}
"""Actions whose entry is about what the new record is made for."""

ANEW = {"printer.token", "alert.open", "token.create"}
"""What is taken again: a token is shown once, so that a lost one is made anew; alerts may be opened again."""


SAID_AGAIN = {"person.grant", "patient.correct", "printer.tank"}
"""What may be said a second time and changes nothing more: the trail tells that it was said twice, no row is added."""


@dataclass(slots=True, kw_only=True)
class Strikes:
    """What was struck so far, and what it led to."""

    trial: Trial
    ledger: Ledger
    wanted: Wanted
    done: set[tuple[str, str]] = field(default_factory=set)
    actions: dict[str, str] = field(default_factory=dict)

    def open_steps(self, action: str) -> list[str]:
        """Return the steps of an action at which it was not struck yet, in their order."""
        steps = [*BEFORE[:2], *(FILES if action in WRITERS else ()), BEFORE[2], AFTER]
        return [one for one in steps if (action, one) not in self.done and self.wanted(KILL_WEB, f"{action}:{one}")]


class Struck(Person):
    """A person whose requests are struck."""

    strikes: Strikes

    def send(self, method: str, path: str, body: bytes | None = None, **headers: str) -> Answer:
        """Send one request; a POST is struck at every step that is open."""
        action = self._action(path) if method == "POST" else ""
        if not action:
            return super().send(method, path, body, **headers)
        before = counting.done(self.strikes.trial.home, action)
        struck: list[tuple[str, str, float]] = []
        for step in self.strikes.open_steps(action):
            begin = time.monotonic()
            answer, told = self._strike(action, step, path, body, headers)
            if told:
                self.strikes.done.add((action, step))
                struck.append((step, told, time.monotonic() - begin))
            if answer is not None:
                return self._settled(action, before, struck, answer)
        return self._settled(action, before, struck, super().send(method, path, body, **headers))

    def _action(self, path: str) -> str:
        parts = path.removeprefix(API).split("/")
        kind = "/".join([parts[0], *parts[2:]])
        if kind in {"session", "audit"} or not path.startswith(API):
            return ""
        if (place := path.removeprefix(API).partition("?")[0]) in PLACES:
            return PLACES[place]
        known = self.strikes.actions
        if kind not in known:
            known[kind] = CREATES.get(kind) or self.get(path.removeprefix(API))["action"]
        return known[kind]

    def _strike(
        self, action: str, step: str, path: str, body: bytes | None, headers: dict[str, str]
    ) -> tuple[Answer | None, str]:
        """Arm, send, and look at what is left; return the answer where there is one, and what was counted."""
        trial = self.strikes.trial
        trial.quiet()
        before = counting.standing(trial.home)
        trial.web.arm("kill", step, ".pdf" if step in FILES else action)
        answer = self._try(path, body, headers)
        if answer is not None:
            trial.web.disarm()
            return answer, ""
        trial.web.wait_met(within_s=10)
        trial.web.disarm()
        trial.wait_web()
        grown = counting.grown(before, counting.standing(trial.home))
        if step != AFTER:
            assert not grown, f"the killed try left {grown}"
            return None, "the killed try left no row"
        return self._after_commit(action, path, body, headers, grown)

    def _after_commit(
        self, action: str, path: str, body: bytes | None, headers: dict[str, str], grown: dict[str, int]
    ) -> tuple[Answer, str]:
        home = self.strikes.trial.home
        told = f"done before the kill ({_words(grown) or 'no new row'})"
        if action in LOOK_FIRST:
            return self._recovered(action, path), f"{told}; found by looking, not repeated"
        standing = counting.standing(home)
        answer = super().send("POST", path, body, **headers)
        more = counting.grown(standing, counting.standing(home))
        if action in ANEW:
            return answer, f"{told}; taken anew"
        assert not more, f"the repeat was done a second time: {more}"
        if answer.status < 400:
            first = {**answer.json, "repeated": False} if "repeated" in answer.json else answer.json
            return _answer(first), f"{told}; the repeat got the same answer and added no row"
        told += f"; the repeat was refused ({answer.status}) and added no row"
        return self._recovered(action, path), told

    def _try(self, path: str, body: bytes | None, headers: dict[str, str]) -> Answer | None:
        """Send; nothing when the line is cut before an answer."""
        try:
            return super().send("POST", path, body, **headers)
        except (http.client.HTTPException, urllib.error.URLError, ConnectionError, TimeoutError):
            return None

    def _recovered(self, action: str, path: str) -> Answer:
        """Return what the record shows to somebody who got no answer."""
        home = self.strikes.trial.home
        subject = counting.last_subject(home, action)
        if action in MADE_FOR:
            subject = home.tables.one(MADE_FOR[action].format(subject=subject))
        place = path.removeprefix(API).partition("?")[0]
        parts = place.split("/")
        named = parts[1] if len(parts) > 1 and place not in PLACES else subject
        shown = dict(self._looked(f"{parts[0]}/{named}"))
        documents = f"SELECT code FROM ground_document WHERE subject = '{subject}' ORDER BY id DESC LIMIT 1"
        shown |= {"code": subject, "deviations": []}
        for (code,) in home.tables.all(documents):
            shown["document"] = code
        if action == "run.gate":
            missing = [one["gate"] for one in self.get(f"run/{parts[1]}")["gates"] if not one["holds"]]
            shown["waiting"] = missing
        if action == "run.verdict":
            shown["outcome"] = shown["state"]
        return _answer(shown)

    def _looked(self, path: str) -> Any:
        for person in (self, self.strikes.trial.home.rosa, self.strikes.trial.home.tomas):
            answer = Person.send(person, "GET", API + path)
            if answer.status < 400:
                return answer.json
        return {}

    def _settled(self, action: str, before: int, struck: list[tuple[str, str, float]], answer: Answer) -> Answer:
        """Tell each row of one action once it ended: done once however often it was struck, or refused."""
        entries = counting.done(self.strikes.trial.home, action) - before
        wrong = counting.troubles(self.strikes.trial.home) if struck else []
        good = answer.status >= 400 or entries == 1 or (action in ANEW | SAID_AGAIN and entries == 2)
        for step, told, seconds in struck:
            outcome = HELD if good and not wrong else BROKEN
            end = "then refused as it should be" if answer.status >= 400 else f"in the end done {entries} time"
            left = len(counting.left_over(self.strikes.trial.home))
            text = "; ".join([told, end, f"{left} files left to be cleared", *wrong])
            seen = "record and audit trail" if answer.status < 400 else "refusal in the audit trail"
            self.strikes.ledger.add(KILL_WEB, f"{action}:{step}", outcome, text, seen=seen, seconds=seconds)
        return answer


def strike_everybody(strikes: Strikes) -> None:
    """Put struck people in the place of the cast."""
    home = strikes.trial.home
    for username in CAST.values():
        plain = sign_in(home.base_url, username, PASSWORD)
        struck = Struck(
            base_url=plain.base_url, headers=plain.headers, opener=plain.opener, username=username, password=PASSWORD
        )
        struck.strikes = strikes
        home.people[username] = struck


def _answer(facts: Any) -> Answer:
    return Answer(status=200, headers=http.client.HTTPMessage(), body=json.dumps(facts).encode())


def _words(grown: dict[str, int]) -> str:
    return ", ".join(f"{count} in {name.partition('_')[2] or name}" for name, count in sorted(grown.items()))


__all__ = ["KILL_WEB", "NotMet", "Strikes", "strike_everybody"]
