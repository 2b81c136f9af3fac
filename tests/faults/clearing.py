"""What ended processes left in the folders of files is cleared an hour later, and nothing else is."""

from __future__ import annotations

import os
import time

from tests.faults import counting
from tests.faults.rows import Told
from tests.faults.trial import Trial

HOURS_S = 4 * 3600


def cleared(trial: Trial, told: Told) -> None:
    """Let four hours pass over every file, with a look at a patient in them, and count what is left."""
    home = trial.home
    left = counting.left_over(home)
    whole = len([path for name in counting.FOLDERS for path in counting.files(home, name)]) - len(left)
    for name in counting.FOLDERS:
        for path in counting.files(home, name):
            then = time.time() - HOURS_S
            os.utime(path, (then, then))
    home.rosa.get(home.tables.one("SELECT 'order/' || code FROM prescriptions_order ORDER BY id DESC LIMIT 1"))
    trial.move_clock(HOURS_S)
    home.until("the hourly work", lambda: not counting.left_over(home), within_s=60)
    trial.quiet()
    stay = len([path for name in counting.FOLDERS for path in counting.files(home, name)])
    assert stay == whole, f"{stay} of {whole} files stay"
    wrong = counting.troubles(home)
    assert not wrong, "; ".join(wrong)
    told.say(f"{len(left)} files that kills had left were cleared, {stay} files of records stay whole")
    told.seen = "the worker's log"
