"""Who plays in the demo, what time it is there, and what is told meanwhile."""

from __future__ import annotations

import json
import secrets
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from dosewright.ground.models import Site, User
from dosewright.ground.people import actor_of
from dosewright.ground.pure.roles import Actor, Channel, Role
from dosewright.ground.signing import Pen, shown_digest
from dosewright.roof import clock
from dosewright.roof.environment import write_secret

PEOPLE: tuple[tuple[str, str, str, str, Role], ...] = (
    ("mira.voss", "Dr Mira Voss", "paediatrician", "DEMO-P-1001", Role.PRESCRIBER),
    ("tomas.lind", "Tomas Lind", "pharmacy technician", "DEMO-T-2001", Role.TECHNICIAN),
    ("ada.brandt", "Ada Brandt", "pharmacy technician", "DEMO-T-2002", Role.TECHNICIAN),
    ("rosa.keller", "Rosa Keller", "pharmacist", "DEMO-R-3001", Role.PHARMACIST),
    ("jonas.weber", "Jonas Weber", "pharmacist", "DEMO-R-3002", Role.PHARMACIST),
    ("lena.fuchs", "Lena Fuchs", "pharmacist", "DEMO-R-3003", Role.PHARMACIST),
    ("otto.krug", "Otto Krug", "auditor", "", Role.AUDITOR),
    ("nora.stein", "Nora Stein", "formulation scientist", "", Role.SCIENTIST),
    ("paul.berg", "Paul Berg", "site manager", "", Role.MANAGER),
)
"""The standing cast; every person is invented."""

HEAD_START_DAYS = 2
"""How far in the past the demo begins [days] where its orders allow it, so that its washes and cures end about now."""


class Stuck(RuntimeError):
    """Something the demo waited for did not happen."""


@dataclass(slots=True, kw_only=True)
class Stage:
    """The demo's home with its people and its clock."""

    home: Path
    passwords: dict[str, str] = field(default_factory=dict)
    offset: timedelta = timedelta()

    def open(self) -> None:
        """Make the passwords; they lie in the home, readable by its owner alone."""
        self.passwords = {username: f"{secrets.token_hex(2)}-{secrets.token_hex(3)}" for username, *_ in PEOPLE}
        write_secret(self.home / "keys" / "invented_logins.json", json.dumps(self.passwords, indent=1))

    def start_clock(self, *, newest_days_ago: int = HEAD_START_DAYS) -> None:
        """Begin in the past, but not before the day of the newest weight in the orders; for demo homes."""
        self.offset = -timedelta(days=min(HEAD_START_DAYS, newest_days_ago))
        clock.set_demo_offset(self.home, self.offset)

    def now(self) -> datetime:
        """Return the demo's time."""
        return clock.now()

    def skip(self, seconds: float) -> None:
        """Let time pass that nobody wants to wait for; the demo may come to run ahead of the real time."""
        self.offset += timedelta(seconds=seconds)
        clock.set_demo_offset(self.home, self.offset)

    def end(self) -> None:
        """Set the demo's clock to the real time, unless it has run ahead: time does not go back in a record."""
        self.offset = max(self.offset, timedelta())
        clock.set_demo_offset(self.home, self.offset)

    def person(self, username: str) -> Actor:
        """Return a person of the cast as an actor by command."""
        return actor_of(User.objects.select_related("site").get(username=username), channel=Channel.COMMAND)

    @property
    def site_id(self) -> int:
        """The row of the demo's site."""
        return Site.objects.values_list("pk", flat=True).get()

    def pen(self, username: str, shown: Any) -> Pen:
        """Return the pen of a person who was shown `shown`."""
        return Pen(password=self.passwords[username], shown_digest=shown_digest(shown))

    def say(self, text: str) -> None:
        """Tell what happens."""
        sys.stderr.write(f"{self.now().astimezone():%a %H:%M}  {text}\n")
        sys.stderr.flush()

    def wait(self, done: Callable[[], bool], what: str, *, within_s: float = 60, every_s: float = 0.05) -> None:
        """Wait until `done`, looking every so often; raises Stuck naming `what` when it takes too long."""
        end = time.monotonic() + within_s
        while not done():
            if time.monotonic() > end:
                raise Stuck(f"{what} did not happen within {within_s:g} s")
            time.sleep(every_s)
