"""Wakes a worker after a commit; a wake-up that is lost costs a poll interval, never the work."""

from __future__ import annotations

import contextlib
import logging
import os
import socket
from pathlib import Path

from django.conf import settings

log = logging.getLogger(__name__)
MESSAGE_LIFE_S = 60
"""A wake-up that is older than this has been overtaken by the sweeper."""


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
    from celery import current_app
    from kombu.exceptions import OperationalError
    from redis.exceptions import RedisError

    try:
        current_app.send_task("dosewright.sweep", ignore_result=True, retry=False, expires=MESSAGE_LIFE_S)
    except (OperationalError, RedisError, OSError) as trouble:
        log.warning("broker not reached, the sweeper will find the work", extra={"trouble": type(trouble).__name__})
