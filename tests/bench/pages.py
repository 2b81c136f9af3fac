"""Every page by whom it is for: how many queries it takes, and how long."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from dosewright.ground.models import User
from dosewright.ground.rest import LOOKS
from dosewright.roof.api import registry
from tests.cast import Cast

MOST_QUERIES = 30


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One page as one person got it."""

    page: str
    who: str
    queries: int
    seconds: float


def addresses(order: str) -> list[str]:
    """Return every list of records, the start and an order."""
    registry.load()
    lists = [f"/{subject}" for subject, look in LOOKS.items() if registry.shows_page(look)]
    return ["/", f"/order/{order}", *lists]


def looked_at(cast: Cast, order: str, *, times: int = 1) -> Iterator[Seen]:
    """Yield every page for everybody who may see it; the seconds are the quickest of `times`."""
    for username in ("mira.voss", "tomas.lind", "rosa.keller", "otto.krug", "nora.stein", "paul.berg"):
        client = Client()
        client.force_login(User.objects.get(username=username), backend="dosewright.roof.api.sign_in.People")
        for page in addresses(order):
            if client.get(page).status_code != 200:
                continue
            with CaptureQueriesContext(
                connection,
            ) as queries:
                client.get(page)
            count = len(queries)  # now: the next request empties the log
            quickest = min(_timed(client, page) for _ in range(times))
            yield Seen(page=page, who=username, queries=count, seconds=quickest)


def _timed(client: Client, page: str) -> float:
    begun = time.perf_counter()
    client.get(page)
    return time.perf_counter() - begun
