"""Timings, supplies and repeats in the order JSON: taken truly, or refused by their place."""

from __future__ import annotations

from typing import Any

import pytest

from prescriptions.intake.order_json import order_request_as_json, read_order
from tests.core.prescriptions.order_cases import EXAMPLES, TODAY, Change, changed, fits, put, refusals

P0 = "regimen.steps[0]"
NEEDED = f"{P0}.as_needed"


def needed(**more: Any) -> dict[str, Any]:
    """Return a timing as needed, with other values for what `more` names."""
    return {"least_interval": "6 h", "most_per_day": 4, "reason": "pain", **more}


def timed(**timing: Any) -> Change:
    """Return a change to one step alone, with another timing in place of its clock times."""

    def change(order: dict[str, Any]) -> None:
        order["regimen"]["steps"] = order["regimen"]["steps"][:1]
        del order["regimen"]["steps"][0]["times"]
        order["regimen"]["steps"][0] |= timing

    return change


@pytest.mark.parametrize(
    ("change", "places", "schema_takes"),
    [
        (timed(slots=["at lunch"]), [f"{P0}.slots[0]"], False),
        (timed(slots=["with lunch", "with lunch"]), [f"{P0}.slots"], False),
        (timed(), [f"{P0}.times"], False),
        (timed(as_needed=needed(least_interval="6")), [f"{NEEDED}.least_interval"], False),
        (timed(as_needed=needed(least_interval="6 hours")), [f"{NEEDED}.least_interval"], False),
        (timed(as_needed=needed(least_interval=6)), [f"{NEEDED}.least_interval"], False),
        (timed(as_needed=needed(least_interval="0 h")), [f"{NEEDED}.least_interval"], True),
        (timed(as_needed=needed(least_interval="25 h", most_per_day=1)), [f"{NEEDED}.least_interval"], True),
        (timed(as_needed=needed(least_interval="0.3 h")), [f"{NEEDED}.least_interval"], True),
        (timed(as_needed=needed(most_per_day=5)), [f"{NEEDED}.most_per_day"], True),
        (timed(as_needed=needed(most_per_day=13, least_interval="1 h")), [f"{NEEDED}.most_per_day"], False),
        (timed(as_needed=needed(most_per_day="4")), [f"{NEEDED}.most_per_day"], False),
        (timed(as_needed={"most_per_day": 4, "reason": "pain"}), [f"{NEEDED}.least_interval"], False),
        (timed(as_needed={"least_interval": "6 h", "reason": "pain"}), [f"{NEEDED}.most_per_day"], False),
        (timed(as_needed=needed(reason="x" * 61)), [f"{NEEDED}.reason"], False),
        (timed(as_needed=needed(), every_n_days=2), [NEEDED], True),
        (timed(as_needed=needed(), weekdays=["monday"]), [NEEDED], True),
        # supplies and repeats
        (put("supply_days", 0), ["supply_days"], False),
        (put("supply_days", 367), ["supply_days"], False),
        (put("supply_days", "14"), ["supply_days"], False),
        (put("repeats", "RX-TEST"), ["repeats"], False),
        (put("repeats", {}), ["repeats.order"], False),
        (put("repeats", {"order": "RX-TEST", "reference": "WARD-1"}), ["repeats.order"], False),
        (put("repeats", {"order": "RX-TEST", "change": " "}), ["repeats.change"], False),
        (put("repeats", {"order": "RX-TEST", "why": "growth"}), ["repeats.why"], False),
    ],
)  # fmt: skip
def test_refused_by_place(change: Change, places: list[str], schema_takes: bool) -> None:
    assert read_order(EXAMPLES[0], today=TODAY), "the same order without the change is taken"
    value = changed(change)
    found = refusals(value)
    assert [one.field for one in found] == places
    assert all(one.message and one.accepted for one in found)
    assert fits(value) is schema_takes


def test_a_dose_as_needed_says_what_for_or_the_order_does() -> None:
    def order(**more: Any) -> dict[str, Any]:
        change = timed(as_needed={"least_interval": "6 h", "most_per_day": 4})
        return {name: value for name, value in (changed(change) | more).items() if value is not None}

    assert read_order(order(indication="pain"), today=TODAY)
    by_code = {"code": "PA-1"}
    for unsaid in (order(indication=None), order(indication="x" * 61), order(indication=None, patient=by_code)):
        assert fits(unsaid)
        (only,) = refusals(unsaid)
        assert (only.field, only.rule, only.limit) == (f"{NEEDED}.reason", "as-needed", "60")


@pytest.mark.parametrize(
    "change",
    [
        timed(slots=["with breakfast", "at bedtime"], weekdays=["monday", "thursday"]),
        timed(times=["20:00", "08:00"], every_n_days=2),
        timed(as_needed=needed(least_interval="1.5 h", most_per_day=12)),
        timed(as_needed=needed(most_per_day=1, least_interval="24 h")),
        timed(times=["08:00"], every_n_days=90),
        put("supply_days", 366),
        put("repeats", {"order": "RX-TEST"}),
        put("repeats", {"reference": "WARD-1", "change": "dose raised for growth"}),
    ],
)
def test_round_trip_of_every_timing_supply_and_repeat(change: Change) -> None:
    value = changed(change)
    assert fits(value)
    order = read_order(value, today=TODAY)
    written = order_request_as_json(order)
    assert fits(written)
    assert read_order(written, today=TODAY) == order
