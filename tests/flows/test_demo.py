"""The README's first command, as a newcomer runs it: the whole walk, and what it leaves behind."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from tests.contracts.running import holds
from tests.services.stacks import ROOT

MOST_S = 900
"""Long enough for a machine that runs everything else beside it; the claim of two minutes is for a quiet one."""


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "home"
    done = demo("--dir", str(folder), "--once")
    assert done.returncode == 0, done.stderr[-4000:]
    return folder


@pytest.fixture(scope="module")
def summary(home: Path) -> dict[str, Any]:
    document: dict[str, Any] = json.loads((home / "summary.json").read_text(encoding="utf-8"))
    return document


def demo(*arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the demo with a home of its own and quick passwords."""
    env = {name: value for name, value in os.environ.items() if not name.startswith(("DOSEWRIGHT_", "DJANGO_"))}
    return subprocess.run(
        [sys.executable, "manage.py", "demo", *arguments],
        cwd=ROOT,
        env=env | {"DOSEWRIGHT_BOOTSTRAP": "off", "DOSEWRIGHT_TESTING": "yes"},
        capture_output=True,
        text=True,
        timeout=MOST_S,
        check=False,
    )


def test_the_summary_keeps_its_contract(summary: dict[str, Any]) -> None:
    holds("summary", summary)


def test_it_shows_what_goes_well_and_what_does_not(summary: dict[str, Any]) -> None:
    orders, batches = summary["orders"], summary["batches"]
    assert len(orders) >= 12
    assert sum(batch["state"] == "closed" for batch in batches) >= 3
    assert [batch["state"] for batch in batches].count("faulted") == 1
    refused = [order for order in orders if order["refused"]]
    assert [order["reference"] for order in refused] == ["DEMO-ORDER-08"]
    assert "tenfold" in refused[0]["refused"][0]["message"]
    assert {order["reference"] for order in orders if order["state"] == "stopped"} == {"DEMO-ORDER-14"}


def test_every_line_of_a_verified_order_is_supplied_in_its_dose_and_number(summary: dict[str, Any]) -> None:
    for order in summary["orders"]:
        if order["state"] != "verified":
            assert order["packs"] == []
            continue
        for line in order["lines"]:
            packs = [pack for pack in order["packs"] if pack["line"] == line["code"]]
            assert sum(pack["units"] for pack in packs) == line["units"]
            assert len(line["unit_codes"]) == line["units"] + line["spares"]
            assert line["predicted_mg"] == pytest.approx(float(line["ordered_mg"]), rel=0.01)
            assert abs(line["deviation_frac"]) < 0.03
            assert line["measured_by"] == "mass"
    states = {pack["state"] for order in summary["orders"] for pack in order["packs"]}
    assert states == {"supplied", "destroyed"}


UNITS = {
    "DEMO-ORDER-03": {"30": 7, "15": 7, "5": 7},
    "DEMO-ORDER-04": {"36": 14},
    "DEMO-ORDER-06": {"0.05": 28},
    "DEMO-ORDER-07": {"0.1": 14},
    "DEMO-ORDER-10": {"2": 10},
    "DEMO-ORDER-11": {"4": 9},
    "DEMO-ORDER-12": {"2.5": 28},
    "DEMO-ORDER-13": {"7.5": 6},
}
"""Counted by hand: a taper of three weeks; 2 mg/kg of 18.1 kg, rounded to halves and made of two units, for a week;
every day for 28; every second day of 28; the school days of two weeks; three at most on three days; with two meals
for two weeks; the Mondays of six weeks."""


def test_four_medicines_are_made_each_from_a_lot_of_its_own(summary: dict[str, Any]) -> None:
    closed = [batch for batch in summary["batches"] if batch["state"] == "closed"]
    assert len({batch["resin_lot"] for batch in closed}) == 4
    assert len({batch["model"]["unit_strength_frac"] for batch in closed}) == 4
    assert {batch["layer_um"] for batch in closed} == {40, 50}


@pytest.mark.parametrize("reference", sorted(UNITS))
def test_every_timing_gives_the_units_that_the_calendar_counts(summary: dict[str, Any], reference: str) -> None:
    order = next(one for one in summary["orders"] if one["reference"] == reference)
    assert {line["ordered_mg"]: line["units"] for line in order["lines"]} == UNITS[reference]


def test_every_document_and_plate_file_is_there_and_is_the_one_that_was_made(
    home: Path, summary: dict[str, Any]
) -> None:
    documents = [one for place in (*summary["orders"], *summary["batches"]) for one in place["documents"]]
    assert {"label", "certificate", "plate map"} <= {one["kind"] for one in documents}
    for one in documents:
        data = (home / one["path"]).read_bytes()
        assert data.startswith(b"%PDF")
        assert sha256(data).hexdigest() == one["sha256"]
    for batch in summary["batches"]:
        if batch["state"] == "closed":
            assert (home / batch["plate_file"]).read_bytes().startswith(b"PK")


def test_the_orders_it_leaves_can_be_given_back_and_a_folder_of_others_is_refused(home: Path, tmp_path: Path) -> None:
    assert len(json.loads((home / "orders.json").read_text(encoding="utf-8"))) >= 12
    (tmp_path / "something.txt").write_text("mine")
    done = demo("--dir", str(tmp_path), "--once")
    assert done.returncode == 1
    assert "did not make" in done.stderr
    assert (tmp_path / "something.txt").read_text() == "mine"
