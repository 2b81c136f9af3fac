"""Writes the papers that belong to batches and lots, and tells at the end what happened."""

from __future__ import annotations

import sys
from collections import Counter

from dosewright.ground.models import Document
from dosewright.roof.demo.house import House
from dosewright.roof.demo.orders import Taken
from dosewright.roof.demo.packs import Packed
from dosewright.roof.demo.stage import PEOPLE, Stage
from labels.services.papers import plate_map, trace_report, weighing_sheet
from labels.trace import trace
from prescriptions.queries.facts import order_facts
from printing.plates.queries import batches

MOST = 200


def write_papers(stage: Stage, house: House, packs: list[Packed]) -> None:
    """Print the weighing sheet of every lot, the map of every plate, and one trace report."""
    tomas = stage.person("tomas.lind")
    for lot in house.resin_lots:
        weighing_sheet(tomas, lot, at=stage.now())
    for row in batches(tomas, limit=MOST).items:
        plate_map(tomas, row.code, at=stage.now())
    if packs:
        trace_report(stage.person("otto.krug"), packs[0].code, at=stage.now())


def tell(stage: Stage, taken: list[Taken], packs: list[Packed]) -> None:
    """Print the table of orders, the batches, one trace from patient to ingredient lot, and the logins."""
    out = sys.stderr
    out.write("\norder         state      lines  packs  refused because\n")
    for one in taken:
        out.write(_row(one, packs))
    states = Counter(row.state for row in batches(stage.person("tomas.lind"), limit=MOST).items)
    out.write("\nbatches: " + ", ".join(f"{count} {state}" for state, count in sorted(states.items())) + "\n")
    kinds = Counter(f"{row.kind} ({row.state})" for row in Document.objects.all())
    out.write("documents: " + ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items())) + "\n")
    if packs:
        _tell_trace(stage, packs[0])
    out.write("\nSign in as (all invented):\n")
    for username, _, _, _, role in PEOPLE:
        out.write(f"    {username:14} {stage.passwords[username]:14} {role.value}\n")


def _row(one: Taken, packs: list[Packed]) -> str:
    why = f"{one.refused[0]['field']}: {one.refused[0]['message']}"[:70] if one.refused else ""
    if not one.code:
        return f"{one.reference[:12]:12}  refused        0      0  {why}\n"
    order = order_facts(one.code)
    mine = sum(pack.order == one.code for pack in packs)
    return f"{one.code:12}  {order.state:9} {len(order.lines):6} {mine:6}  {why}\n"


def _tell_trace(stage: Stage, pack: Packed) -> None:
    """Print the codes of one way from patient to ingredient lots."""
    found = trace(stage.person("otto.krug"), pack.code)
    by_kind: dict[str, list[str]] = {}
    for node in found.nodes:
        by_kind.setdefault(node.kind, []).append(node.code)
    sys.stderr.write(f"\ntrace of pack {pack.code}:\n")
    for kind in ("patient", "order", "dose line", "pack", "zone", "unit", "print batch", "resin lot", "ingredient lot"):
        codes = by_kind.get(kind, [])
        shown = ", ".join(codes[:6]) + (f" and {len(codes) - 6} more" if len(codes) > 6 else "")
        sys.stderr.write(f"    {kind:15} {shown}\n")
