"""Two people at one thing: threads with connections of their own, and what each was answered."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection

from dosewright.ground.models import Work
from dosewright.ground.pure.errors import Refused
from dosewright.ground.work import run

WITHIN_S = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What somebody was answered: done, or refused with the kind and every reason in words."""

    who: str
    done: bool
    kind: str = ""
    told: str = ""

    def plain(self) -> dict[str, Any]:
        """Return the outcome as JSON holds it."""
        return {"who": self.who, "done": self.done, "kind": self.kind, "told": self.told}


def tried(who: str, call: Callable[[], Any]) -> Outcome:
    """Call and return what became of it; whatever is no refusal is raised."""
    try:
        call()
    except Refused as refused:
        told = "; ".join(f"{one.field} {one.value or ''}: {one.message}" for one in refused.refusals)
        return Outcome(who=who, done=False, kind=type(refused).__name__, told=told)
    return Outcome(who=who, done=True)


def at_once(calls: dict[str, Callable[[], Any]]) -> list[Outcome]:
    """Let everybody call at the same moment."""
    gate = threading.Barrier(len(calls))

    def one(who: str) -> Outcome:
        gate.wait(WITHIN_S)
        try:
            return tried(who, calls[who])
        finally:
            connection.close()

    with ThreadPoolExecutor(len(calls)) as pool:
        return list(pool.map(one, calls))


@contextmanager
def held(step: str, about: str) -> Iterator[None]:
    """Arm a step, and once a worker stands there run the block; the worker goes on after it."""
    folder = Path(settings.DOSEWRIGHT_STEPS)
    for name in ("met", "go", "who"):
        (folder / name).unlink(missing_ok=True)
    (folder / "armed").write_text(f"hold\t{step}\t{about}", encoding="utf-8")
    yield
    (folder / "armed").unlink(missing_ok=True)


def while_working(kind: str, doing: Callable[[], Any], *, at: datetime) -> str:
    """Run the waiting work of a kind in a thread, do something while it is in its slow part, and return its failure."""
    row = Work.objects.filter(state=Work.WAITING, kind=kind).latest("pk")
    folder = Path(settings.DOSEWRIGHT_STEPS)

    def worker() -> None:
        try:
            run(row.pk, clock=lambda: at)
        finally:
            connection.close()

    with held("work-under-way", kind):
        thread = threading.Thread(target=worker)
        thread.start()
        end = time.monotonic() + WITHIN_S
        while not (folder / "met").exists():
            assert thread.is_alive(), Work.objects.get(pk=row.pk).failure
            assert time.monotonic() < end, "the worker never came to its slow part"
            time.sleep(0.02)
        try:
            doing()
        finally:
            (folder / "go").touch()
            thread.join(WITHIN_S)
    return Work.objects.get(pk=row.pk).failure
