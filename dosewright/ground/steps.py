"""Named steps at which a test may end or hold this process; everywhere else a step does nothing.

Settings refuse `DOSEWRIGHT_STEPS`, the folder where a test says what shall happen, unless `DOSEWRIGHT_TESTING`
is set. A file ``armed`` in it holds ``DO STEP ABOUT``; the first process that meets that step takes the file
away as ``met``, so that it happens once, and is killed, or waits for a file ``go`` and takes it away.
"""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

from django.conf import settings

KILL, HOLD = "kill", "hold"
ANYTHING = "*"
MOST_HELD_S = 120
POLL_S = 0.02

STEPS = {
    "action-begun": "the action's transaction is open, nothing is written",
    "action-done": "everything is written but the audit row",
    "action-recorded": "the audit row is written, nothing is committed",
    "action-committed": "committed, nobody is woken or answered",
    "refusal": "everything is rolled back, the refusal is not on record",
    "work-found": "found by the sweeper, not claimed",
    "work-claimed": "claimed, nothing is done",
    "work-under-way": "in the slow part",
    "work-failed": "the attempt failed, which is not yet on record",
    "file-half": "the bytes stand in a hidden file and may not be on the disk",
    "file-whole": "the hidden file is on the disk, without its name",
    "file-named": "the file has its name, no row tells of it",
}
"""Every step, with what is true there."""


def at(step: str, about: str = "") -> None:
    """Pass a named step; `about` is the action, kind of work or kind of file."""
    if settings.DOSEWRIGHT_STEPS:
        _meet(Path(settings.DOSEWRIGHT_STEPS), step, about)


def _meet(folder: Path, step: str, about: str) -> None:
    try:
        do, wanted, whom = (folder / "armed").read_text(encoding="utf-8").split("\t")
        if wanted != step or whom not in {ANYTHING, about}:
            return
        (folder / "armed").rename(folder / "met")
    except (FileNotFoundError, ValueError):
        return
    (folder / "who").write_text(f"{os.getpid()}\t{about}", encoding="utf-8")
    if do == KILL:
        os.kill(os.getpid(), signal.SIGKILL)
    _wait_for(folder / "go")


def _wait_for(go: Path) -> None:
    end = time.monotonic() + MOST_HELD_S
    while not go.exists() and time.monotonic() < end:
        time.sleep(POLL_S)
    go.unlink(missing_ok=True)
