"""A count that does not fit, over HTTP: one too few here and one too many there holds both zones, by every door."""

from __future__ import annotations

from typing import Any

import pytest

from tests.flows.client import refusal
from tests.flows.compounding import TANK_ML, Bench
from tests.flows.living import Home
from tests.flows.making import finished, gates_recorded, measured_zone, printed, started
from tests.flows.ordering import order_for, verified
from tests.flows.printer import training_printer
from tests.flows.way import Way, delivered_batch, planned_batch

OTHER_CHILD = {
    "identifier": {"system": "urn:demo:hospital-number", "value": "D-2002"},
    "family_name": "Thistlewood",
    "given_name": "Peregrin",
}
"""Another invented child, so that no other test's order counts for this one."""


@pytest.fixture(scope="module")
def way(home: Home, bench: Bench) -> Way:
    """An order of 28 and 14 doses, printed and taken off with 27 and 15 counted (spares come to both)."""
    order = order_for(home, "MIX-UP", ("3 mg", "07:00"), ("2 mg", "19:00"), patient=OTHER_CHILD)
    order["regimen"]["steps"][1]["days"] = 14
    way = Way(order=verified(home, order), bench=bench)
    way.lines = {line["code"]: line["dose_mg"] for line in home.rosa.get(f"order/{way.order}")["lines"]}
    refill(home, bench)
    planned_batch(home, way)
    delivered_batch(home, way)
    with training_printer(home, bench.printer_token):
        gates_recorded(home, way)
        started(home, way)
        printed(home, way)
    return way


def refill(home: Home, bench: Bench) -> None:
    """Fill the tank anew: what another test left in it is past its hours."""
    home.tomas.post(f"tank-fill/{bench.tank_fill}/empty")
    fill = {"tank": bench.wet["tank 1"], "resin_lot": bench.resin_lot, "volume_ml": TANK_ML}
    assert "not cleaned" in refusal(home.tomas, "tank-fill", fill, status=409).on("tank")["message"]
    home.tomas.post(f"equipment/{bench.wet['tank 1']}/clean", {"how": "2-propanol, lint-free wipes (invented)"})
    bench.tank_fill = home.tomas.post("tank-fill", fill)["code"]


def placed(home: Home, way: Way) -> dict[str, int]:
    return {zone["code"]: len(zone["units"]) for zone in home.tomas.get(f"batch/{way.batch}")["zones"]}


def missing_of(home: Home, zone: str) -> set[Any]:
    return {one["field"] for one in home.tomas.get(f"evidence/{zone}")["missing"]}


def test_27_and_15_where_28_and_14_stood_hold_both_zones(home: Home, way: Way) -> None:
    first, second = way.zone_of("3"), way.zone_of("2")
    counts = placed(home, way)
    assert (counts[first] - 4, home.tomas.get(f"zone/{second}")["wanted"]) == (28, 14)
    counted = counts | {first: counts[first] - 1, second: counts[second] + 1}
    answer = home.tomas.post(f"batch/{way.batch}/remove", {"counts": counted})
    (deviation,) = answer["deviations"]
    held = home.rosa.get(f"deviation/{deviation}")
    assert (held["kind"], held["state"], held["holds"]) == ("possible mix-up", "open", True)
    assert set(held["zones"]) == {first, second}
    for zone in (first, second):
        assert deviation in missing_of(home, zone)
    untouched = next(zone for zone in counts if zone not in {first, second})
    assert deviation not in missing_of(home, untouched)
    assert "count" in missing_of(home, first) & missing_of(home, second), "nothing is smoothed over"
    finished(home, way)
    for zone in sorted(home.tomas.get(f"batch/{way.batch}")["zones"], key=lambda one: one["removal_order"]):
        measured_zone(home, way, zone)
    for zone in (first, second):
        assert deviation in {one["field"] for one in refusal(home.tomas, f"zone/{zone}/judge", status=409).refused}
        pack = {"zone": zone, "container_lot": "JAR-1", "line_is_clear": True}
        assert refusal(home.tomas, "pack", pack, status=409).on("zone")["value"] == "open"
    concerned = refusal(home.tomas, f"deviation/{deviation}/close", closing(home), status=403)
    assert concerned.on("actor")["accepted"] == "pharmacist"
    found = {name: text for name, text in closing(home).items() if name not in {"password", "shown_digest"}}
    home.rosa.sign(f"deviation/{deviation}/close", found)
    for zone in (first, second):
        home.tomas.post(f"zone/{zone}/judge")
        assert home.tomas.get(f"zone/{zone}")["state"] == "failed"
        refusal(home.rosa, f"zone/{zone}/approve-to-pack", status=409, signed=True)


def closing(home: Home) -> dict[str, str]:
    return {
        "investigation": "one unit lay in the neighbour's basket (invented)",
        "action_taken": "both zones destroyed, the line printed anew (invented)",
        "decision": "must not be used",
        "password": home.tomas.password,
        "shown_digest": "0" * 64,
    }
