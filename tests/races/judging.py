"""What must hold of every race: one wins, and the other is told who and what; used on both databases."""

from __future__ import annotations

import json
from typing import Any

from tests.services.stacks import Stack

EITHER = "a mass is corrected while the zone is judged"
"""Both may win here, one after the other: a verdict rests on the corrected value, or the correction comes too late."""

RACES = {
    "two pharmacists verify one order": "order.verify",
    "an order is stopped while it is planned": "order.stop",
    "a lot is blocked while it is planned": "resin_lot.block",
    "two technicians claim one batch": "batch.approve",
    "a weight is corrected between plan and start": "patient.measure",
    "two technicians start one batch": "run.start",
    "a formulation is suspended mid-run and planned with": "formulation.suspend",
    EITHER: "run.verdict",
    "a mass is corrected after the verdict": "run.verdict",
    "a formulation is suspended mid-run and packed": "formulation.suspend",
    "the record changes between view and signature": "deviation.open",
    "two pharmacists sign one pack": "pack.release",
    "two technicians hand one pack over": "pack.supply",
    "an order is stopped before its second pack is handed over": "order.stop",
}
"""Every race, and the act that its loser must be told of."""


def raced(stack: Stack) -> dict[str, Any]:
    """Run the program on a stack; return the vendor and what was told in each race."""
    return dict(json.loads(stack.python("-m", "tests.races", timeout=400)))


def check_races(told: dict[str, Any]) -> None:
    """One wins each race and its act is done once; every loser is told the winner's name and act."""
    assert [one["race"] for one in told["races"]] == list(RACES)
    for race in told["races"]:
        won = [one["who"] for one in race["outcomes"] if one["done"]]
        lost = [one for one in race["outcomes"] if not one["done"]]
        if race["race"] == EITHER and not lost:
            continue
        assert (len(won), len(lost), race["rows"]) == (1, 1, 1), race
        assert lost[0]["kind"] in {"Conflict", "Blocked", "failed"}, race
        assert f"{won[0]}: {RACES[race['race']]} on " in lost[0]["told"], race
