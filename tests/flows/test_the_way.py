"""One order's whole way over HTTP on SQLite with the embedded worker, and what it left, looked at from outside."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.flows.audit_evidence import check_audit, check_flipped_bytes
from tests.flows.living import Home, living
from tests.flows.overhearing import check_overheard, check_pages, overhearing
from tests.flows.pack_evidence import (
    check_certificates,
    check_every_unit,
    check_label_originals,
    check_labels,
    check_packs,
    check_stock,
)
from tests.flows.plate_evidence import check_lines, check_plate_file
from tests.flows.privacy_evidence import (
    check_metrics_and_health,
    check_no_names,
    check_nothing_typed_comes_back,
    check_the_search_finds,
)
from tests.flows.trace_evidence import check_trace_by_command, check_traces
from tests.flows.way import Way
from tests.flows.whole_way import walk
from tests.services.stacks import sqlite_stack

GS1_PREFIX = "9521234"
"""Within 952, which GS1 keeps for demonstrations and examples (GS1 General Specifications, section 1.4)."""


@pytest.fixture(scope="module")
def alive(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Home]:
    """A home of this flow's own."""
    folder = tmp_path_factory.mktemp("way")
    (folder / "home").mkdir()
    with living(sqlite_stack(folder / "home"), folder / "logs", gs1_prefix=GS1_PREFIX) as home:
        yield home


@pytest.fixture(scope="module")
def way(alive: Home, tmp_path_factory: pytest.TempPathFactory) -> Way:
    """The whole way, with every refusal on it."""
    with overhearing(alive) as heard:
        gone = walk(alive, tmp_path_factory.mktemp("papers"))
    gone.heard = heard
    return gone


def test_three_lines_of_28_are_never_a_mean(alive: Home, way: Way) -> None:
    check_lines(alive, way)


def test_every_unit_in_the_plate_file_holds_its_dose(alive: Home, way: Way) -> None:
    check_plate_file(alive, way)


def test_three_containers_hold_28_each(alive: Home, way: Way) -> None:
    check_packs(alive, way)


def test_every_unit_and_every_microgram_is_accounted_for(alive: Home, way: Way) -> None:
    check_every_unit(alive, way)
    check_stock(alive, way)


def test_labels_scan_and_read(alive: Home, way: Way, tmp_path: Path) -> None:
    check_labels(alive, way, tmp_path, gs1=True)
    check_label_originals(alive, way)


def test_certificates_say_what_was_done_and_what_was_not(alive: Home, way: Way, tmp_path: Path) -> None:
    check_certificates(alive, way, tmp_path)


def test_a_code_of_every_kind_is_traced(alive: Home, way: Way) -> None:
    check_traces(alive, way)
    check_trace_by_command(alive, way)


def test_the_audit_trail_is_whole(alive: Home, way: Way) -> None:
    check_audit(alive)


def test_one_flipped_byte_is_found_and_located(alive: Home, way: Way, tmp_path: Path) -> None:
    check_flipped_bytes(alive, tmp_path)


def test_no_name_stands_where_none_belongs(alive: Home, way: Way, tmp_path: Path) -> None:
    check_overheard(way.heard, broker=False)
    check_pages(alive.rosa, [f"/order/{way.order}", f"/patient/{way.patient}", "/order", f"/pack/{way.packs['3']}"])
    check_nothing_typed_comes_back(alive)
    check_metrics_and_health(alive)
    check_the_search_finds(alive)
    check_no_names(alive, tmp_path)
