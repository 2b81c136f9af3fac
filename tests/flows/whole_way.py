"""The whole way of one order over HTTP, used on both stacks."""

from __future__ import annotations

from pathlib import Path

from tests.flows.living import Home
from tests.flows.making import made
from tests.flows.packing import packs_on_their_way
from tests.flows.printer import training_printer
from tests.flows.way import Way, ordered_and_planned


def walk(home: Home, folder: Path) -> Way:
    """Go from an empty site to a supplied and a returned pack; papers that were scanned are left in `folder`."""
    way = ordered_and_planned(home)
    with training_printer(home, way.bench.printer_token):
        made(home, way)
    packs_on_their_way(home, way, folder)
    return way
