"""Wakes a worker after a commit; a wake-up that is lost costs a poll interval, never the work."""

from __future__ import annotations

import contextlib
import logging
import os
import socket
import time
from pathlib import Path

from django.conf import settings

log = logging.getLogger(__name__)
MESSAGE_LIFE_S = 60
"""A wake-up that is older than this has been overtaken by the sweeper."""


PAUSE_S = 30
"""How long nobody is woken after the broker was not reached: a request must not wait for it again and again."""
_quiet_until = 0.0


def after_commit() -> None:
    """Tell whoever works that there is something to do; never raises, for the table is the queue."""
    if settings.DOSEWRIGHT_REDIS_URL:
        _wake_celery()
    else:
        _knock(socket_path())


def socket_path() -> Path:
    """Return where the embedded worker listens for a knock."""
    return Path(settings.DOSEWRIGHT_HOME) / "work.sock"


def _knock(path: Path) -> None:
    if not path.exists():
        return
    with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as bell:
        bell.setblocking(False)
        bell.sendto(b"1", os.fspath(path))


def _wake_celery() -> None:
    global _quiet_until  # noqa: PLW0603 - one broker, and one memory of it, per process
    if time.monotonic() < _quiet_until:
        return
    from celery import current_app
    from kombu.exceptions import OperationalError
    from redis.exceptions import RedisError

    try:
        current_app.send_task("dosewright.sweep", ignore_result=True, retry=False, expires=MESSAGE_LIFE_S)
    except (OperationalError, RedisError, OSError) as trouble:
        _quiet_until = time.monotonic() + PAUSE_S
        log.warning("broker not reached, the sweeper will find the work", extra={"trouble": type(trouble).__name__})
