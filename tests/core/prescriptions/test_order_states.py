"""The order's table, every (state, event) pair against what the design allows."""

from __future__ import annotations

import itertools

import pytest

from prescriptions.states import EVENTS, ORDER, ORDER_INITIAL, STATES, TERMINAL

ALLOWED = {
    "waiting": {"sign": "received", "attest": "received", "stop": "stopped"},
    "received": {
        "verify": "verified",
        "query": "queried",
        "return": "returned",
        "amend": "received",
        "recheck": "received",
        "stop": "stopped",
    },
    "queried": {
        "answer": "received",
        "return": "returned",
        "amend": "received",
        "recheck": "received",
        "stop": "stopped",
    },
    "returned": {"resubmit": "received", "stop": "stopped"},
    "verified": {"amend": "received", "recheck": "received", "stop": "stopped"},
    "stopped": {},
}


def test_the_words_are_these() -> None:
    assert set(STATES) == set(ALLOWED)
    assert set(EVENTS) == {event for events in ALLOWED.values() for event in events}
    assert ORDER_INITIAL == "received"


@pytest.mark.parametrize(("state", "event"), list(itertools.product(STATES, EVENTS)))
def test_every_pair(state: str, event: str) -> None:
    assert ORDER.get((state, event)) == ALLOWED[state].get(event)


def test_only_verify_leads_to_verified() -> None:
    assert [pair for pair, then in ORDER.items() if then == "verified"] == [("received", "verify")]


def test_nothing_leaves_a_terminal_state_and_all_can_stop() -> None:
    assert {"stopped"} == TERMINAL
    assert not [pair for pair in ORDER if pair[0] in TERMINAL]
    assert all(ORDER[state, "stop"] == "stopped" for state in STATES if state not in TERMINAL)
