"""A broker that is away costs the first who acts some seconds, and nobody after them, until it is asked again."""

from __future__ import annotations

import time
from typing import Any

import pytest
from celery import Celery

from dosewright.ground import wake
from tests.services.servers import free_port


def test_a_broker_that_is_away_is_not_asked_again_at_once(settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.DOSEWRIGHT_REDIS_URL = f"redis://127.0.0.1:{free_port()}/0"
    app = Celery("away", broker=settings.DOSEWRIGHT_REDIS_URL, set_as_current=False)
    app.conf.broker_connection_timeout = 0.1
    monkeypatch.setattr("celery.current_app", app)
    monkeypatch.setattr(wake, "_quiet_until", 0.0)
    wake.after_commit()
    assert wake._quiet_until > time.monotonic()
    before = wake._quiet_until
    wake.after_commit()
    assert wake._quiet_until == before
