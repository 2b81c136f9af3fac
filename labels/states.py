"""The states of a pack as a plain table; what is not in it cannot happen.

Recall marks a pack and never changes its state. A returned pack has left the pharmacy's hands: it is held
apart and can only be destroyed.
"""

from __future__ import annotations

from typing import Final

PACKING: Final = "packing"
PACKED: Final = "packed"
RELEASED: Final = "released"
SUPPLIED: Final = "supplied"
QUARANTINED: Final = "quarantined"
RETURNED: Final = "returned"
DESTROYED: Final = "destroyed"

PACK_EVENT: Final = "pack"
RELEASE: Final = "release"
REJECT: Final = "reject"
SUPPLY: Final = "supply"
QUARANTINE: Final = "quarantine"
TAKE_BACK: Final = "take_back"
DESTROY: Final = "destroy"

INITIAL: Final = PACKING
TERMINAL: Final = frozenset({DESTROYED})

PACK: Final[dict[tuple[str, str], str]] = {
    (PACKING, PACK_EVENT): PACKED,
    (PACKING, DESTROY): DESTROYED,
    (PACKED, RELEASE): RELEASED,
    (PACKED, REJECT): QUARANTINED,
    (PACKED, DESTROY): DESTROYED,
    (RELEASED, SUPPLY): SUPPLIED,
    (RELEASED, QUARANTINE): QUARANTINED,
    (RELEASED, DESTROY): DESTROYED,
    (QUARANTINED, DESTROY): DESTROYED,
    (SUPPLIED, TAKE_BACK): RETURNED,
    (RETURNED, DESTROY): DESTROYED,
}

STATES: Final = tuple(dict.fromkeys([*(state for state, _ in PACK), *PACK.values()]))


def label_difference(*, issued: int, applied: int, spoiled: int, returned: int = 0) -> int:
    """Return how many label originals are not accounted for [count]; anything but 0 blocks the release.

    Source: label reconciliation, 21 CFR 211.125 (a benchmark, binding on manufacturers only).
    """
    return issued - applied - spoiled - returned
