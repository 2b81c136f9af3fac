"""The embedded worker: claims rows of work and runs them, on one machine without a broker."""

from __future__ import annotations

import contextlib
import logging
import os
import signal
import socket
import sys
from collections.abc import Iterator
from types import FrameType
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.db import OperationalError, close_old_connections

from dosewright.ground import wake, work
from dosewright.roof import clock
from dosewright.roof.working import run_and_log

log = logging.getLogger("dosewright.work")
POLL_S = 1.0


class Command(BaseCommand):
    """python3 manage.py work [--once] [--again]"""

    help = "run background work until stopped; --once runs what is there and leaves; --again first takes up what failed"

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--once", action="store_true")
        parser.add_argument("--again", action="store_true", help="try work that failed by a fault again")

    def handle(self, *args: Any, **options: Any) -> None:
        self._stop = False
        signal.signal(signal.SIGTERM, self._ask_to_stop)
        if options["again"]:
            self.stderr.write(f"{work.put_back_failed(now=clock.now())} pieces of work that failed are tried again")
        if options["once"]:
            while _round():
                pass
            return
        with _bell() as bell:
            while not self._stop and os.getppid() != 1:
                if not _round():
                    _listen(bell)

    def _ask_to_stop(self, number: int, frame: FrameType | None) -> None:
        self._stop = True


def _round() -> int:
    """Run what can be claimed now; a piece that fails is logged and kept by its row."""
    close_old_connections()
    try:
        found = work.sweep(clock=clock.now, most=10)
    except OperationalError as trouble:
        log.error("database not reached", extra={"trouble": type(trouble).__name__})
        return 0
    for work_id in found:
        run_and_log(work_id)
    return len(found)


@contextlib.contextmanager
def _bell() -> Iterator[socket.socket | None]:
    """Listen on the home's socket; a second worker on one home polls instead."""
    path = wake.socket_path()
    bell = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    bell.settimeout(POLL_S)
    try:
        with contextlib.suppress(FileNotFoundError):
            path.unlink()
        bell.bind(os.fspath(path))
    except OSError as trouble:
        sys.stderr.write(f"no wake-up socket ({type(trouble).__name__}), polling every {POLL_S:g} s\n")
        bell.close()
        yield None
        return
    try:
        yield bell
    finally:
        bell.close()
        with contextlib.suppress(FileNotFoundError):
            path.unlink()


def _listen(bell: socket.socket | None) -> None:
    import time

    if bell is None:
        time.sleep(POLL_S)
        return
    with contextlib.suppress(TimeoutError, socket.timeout):
        bell.recv(64)
