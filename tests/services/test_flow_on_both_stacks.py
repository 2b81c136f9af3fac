"""One order's whole way over HTTP on PostgreSQL with Redis and Celery; `tests/flows` walks it on SQLite.

The web server, the Celery worker and beat work as the role that owns no table; the migrations ran as the owner.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.flows.audit_evidence import check_audit
from tests.flows.every_door import refuse_at_every_door, walk_every_door
from tests.flows.living import Home, celery_programs, living
from tests.flows.overhearing import check_overheard, check_pages, overhearing
from tests.flows.pack_evidence import check_every_unit, check_labels, check_packs, check_stock
from tests.flows.plate_evidence import check_lines, check_plate_file
from tests.flows.privacy_evidence import (
    check_metrics_and_health,
    check_no_names,
    check_nothing_typed_comes_back,
    check_the_search_finds,
)
from tests.flows.trace_evidence import check_traces
from tests.flows.way import Way
from tests.flows.whole_way import walk
from tests.services.servers import Servers
from tests.services.stacks import postgres_stack


@pytest.fixture(scope="module")
def alive(servers: Servers, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Home]:
    folder = tmp_path_factory.mktemp("way")
    (folder / "home").mkdir()
    stack = postgres_stack(folder / "home", servers)
    del stack.env["DOSEWRIGHT_DATABASE_OWNER_URL"]
    with living(stack, folder / "logs", celery_programs(folder)) as home:
        yield home


@pytest.fixture(scope="module")
def way(alive: Home, tmp_path_factory: pytest.TempPathFactory) -> Way:
    with overhearing(alive) as heard:
        gone = walk(alive, tmp_path_factory.mktemp("papers"))
    gone.heard = heard
    return gone


def test_the_programs_work_as_the_role_that_owns_no_table(alive: Home, way: Way) -> None:
    role = alive.tables.one("SELECT current_user")
    assert role == "dosewright_app"
    owners = alive.tables.all("SELECT DISTINCT tableowner FROM pg_tables WHERE schemaname = 'public'")
    assert owners == [("dosewright_owner",)]
    assert alive.open_work() == 0
    assert alive.tables.one("SELECT count(*) FROM ground_work WHERE state = 'failed'") == 0


def test_three_lines_of_28_and_every_unit_in_the_plate_file(alive: Home, way: Way) -> None:
    check_lines(alive, way)
    check_plate_file(alive, way)


def test_packs_units_stock_and_labels(alive: Home, way: Way, tmp_path: Path) -> None:
    check_packs(alive, way)
    check_every_unit(alive, way)
    check_stock(alive, way)
    check_labels(alive, way, tmp_path, gs1=False)
    check_traces(alive, way)


def test_the_same_order_comes_in_by_every_door_once_and_is_verified(alive: Home, way: Way) -> None:
    refuse_at_every_door(alive)
    walk_every_door(alive)


def test_the_audit_trail_is_whole(alive: Home, way: Way) -> None:
    check_audit(alive)


def test_no_name_stands_where_none_belongs(alive: Home, way: Way, tmp_path: Path) -> None:
    check_overheard(way.heard, broker=True)
    check_pages(alive.rosa, [f"/order/{way.order}", f"/patient/{way.patient}", "/order", f"/pack/{way.packs['3']}"])
    check_nothing_typed_comes_back(alive)
    check_metrics_and_health(alive)
    check_the_search_finds(alive)
    check_no_names(alive, tmp_path)
