"""Every (state, event) of a pack, and the reconciliation of its labels."""

from __future__ import annotations

import itertools

import pytest

from labels import states

ALLOWED = {
    ("packing", "pack"): "packed",
    ("packed", "release"): "released",
    ("packed", "reject"): "quarantined",
    ("released", "supply"): "supplied",
    ("released", "quarantine"): "quarantined",
    ("supplied", "take_back"): "returned",
    **{(one, "destroy"): "destroyed" for one in ("packing", "packed", "released", "quarantined", "returned")},
}
ALL_STATES = sorted({one for one, _ in ALLOWED} | set(ALLOWED.values()))
ALL_EVENTS = sorted({event for _, event in ALLOWED})


@pytest.mark.parametrize(("state", "event"), list(itertools.product(ALL_STATES, ALL_EVENTS)))
def test_every_pair(state, event):
    assert states.PACK.get((state, event)) == ALLOWED.get((state, event))


def test_the_table_has_nothing_else():
    assert set(states.PACK) == set(ALLOWED)
    assert states.INITIAL == "packing"


def test_supply_comes_only_after_release_and_nothing_held_comes_back():
    reached = {states.INITIAL: {()}}
    paths = [((), states.INITIAL)]
    while paths:
        path, state = paths.pop()
        for (one, event), after in states.PACK.items():
            if one == state:
                reached.setdefault(after, set()).add((*path, event))
                paths.append(((*path, event), after))
    assert all(path[-2:] == ("release", "supply") for path in reached["supplied"])
    assert all("quarantine" not in path and "reject" not in path for path in reached["supplied"])
    assert {state for state in reached if not any(one == state for one, _ in states.PACK)} == set(states.TERMINAL)


@pytest.mark.parametrize(
    ("counts", "difference"),
    [
        ({"issued": 30, "applied": 28, "spoiled": 1}, 1),  # R-65, 21 CFR 211.125 (benchmark)
        ({"issued": 30, "applied": 28, "spoiled": 1, "returned": 1}, 0),
        ({"issued": 30, "applied": 31, "spoiled": 0}, -1),
    ],
)
def test_labels_are_reconciled(counts, difference):
    assert states.label_difference(**counts) == difference
