"""Traces over HTTP from a code of every kind, and by command: the same, from ingredient lot to patient and back."""

from __future__ import annotations

import json
from typing import Any

from tests.flows.living import Home
from tests.flows.way import Way

KINDS = {
    "patient",
    "order",
    "dose line",
    "pack",
    "unit",
    "zone",
    "print batch",
    "resin lot",
    "ingredient lot",
    "person",
    "equipment",
    "document",
}


def check_traces(home: Home, way: Way) -> None:
    """From every kind of code the trace reaches what it touched; whoever may not see traces does not."""
    pack = home.tomas.get(f"pack/{way.packs['3']}")
    unit = pack["unit_codes"][0]
    whole = {way.patient, way.order, way.bench.resin_lot, way.batch, *way.bench.ingredient_lots}
    one_line = {*whole, way.line_of("3"), way.zone_of("3"), pack["code"]}
    every = {*whole, *way.lines, *way.zones.values(), *way.packs.values()}
    expected = {
        way.patient: every,
        way.order: every,
        way.line_of("3"): one_line,
        pack["code"]: {*one_line, unit},
        unit: {*one_line, unit},
        way.zone_of("3"): {*one_line, unit},
        way.batch: every,
        way.bench.resin_lot: every,
        way.bench.ingredient_lots[2]: every - set(way.bench.ingredient_lots) | {way.bench.ingredient_lots[2]},
        way.bench.balance: every,
        way.bench.printer: every,
        home.tomas.get("session")["code"]: every,
        way.labels["3"]: one_line,
        way.certificates["3"]: one_line,
    }
    seen: set[str] = set()
    for code, reached in expected.items():
        found = traced(home, code)
        nodes = {node["code"]: node["kind"] for node in found["nodes"]}
        assert reached <= set(nodes), (code, reached - set(nodes))
        assert code in nodes, code
        seen |= set(nodes.values())
    assert seen == KINDS
    others = {way.packs["2"], way.packs["1.75"], way.zone_of("2"), way.line_of("1.75")}
    assert not others & {node["code"] for node in traced(home, unit)["nodes"]}, "a unit's trace stays with its line"
    assert home.tomas.send("GET", f"/api/v1/trace/{unit}").status == 403
    misread = "X" if unit[-1] != "X" else "Y"
    assert home.otto.send("GET", f"/api/v1/trace/{unit[:-1]}{misread}").status == 422


def traced(home: Home, code: str) -> dict[str, Any]:
    """Return the trace of a code, every edge between two nodes of it and no name in it."""
    found = home.otto.get(f"trace/{code}")
    nodes = {node["code"] for node in found["nodes"]}
    assert len(nodes) == len(found["nodes"])
    for edge in found["edges"]:
        assert set(edge) == {"from", "to", "how"}
        assert {edge["from"], edge["to"]} <= nodes
    linked = {edge[end] for edge in found["edges"] for end in ("from", "to")}
    assert nodes == linked, nodes - linked
    return dict(found)


def check_trace_by_command(home: Home, way: Way) -> None:
    """The command prints the same trace as the door."""
    printed = home.stack.python("manage.py", "trace", way.packs["3"], "--as", "otto.krug", "--json")
    assert json.loads(printed) == traced(home, way.packs["3"])
