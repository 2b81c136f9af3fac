"""The states of an order as one plain table; what is not in it cannot happen.

An import that is neither signed nor attested starts in `WAITING`, everything else in `ORDER_INITIAL`.
Amending makes a new version, and a recheck is asked for by SYSTEM with a reason: both send the order back
to be checked. "Planned", "printed" and "released" are read from the records that hold them, never copied
here; whether a stop comes too late is decided by what is supplied, not by this table.
"""

from __future__ import annotations

from typing import Final

WAITING: Final = "waiting"
RECEIVED: Final = "received"
QUERIED: Final = "queried"
RETURNED: Final = "returned"
VERIFIED: Final = "verified"
STOPPED: Final = "stopped"

SIGN: Final = "sign"
ATTEST: Final = "attest"
VERIFY: Final = "verify"
QUERY: Final = "query"
ANSWER: Final = "answer"
RETURN: Final = "return"
RESUBMIT: Final = "resubmit"
AMEND: Final = "amend"
RECHECK: Final = "recheck"
STOP: Final = "stop"

ORDER_INITIAL: Final = RECEIVED
TERMINAL: Final = frozenset({STOPPED})
ACTIVE: Final = (RECEIVED, QUERIED, VERIFIED)
"""States in which an order's doses count for the patient's daily totals."""

ORDER: Final[dict[tuple[str, str], str]] = {
    (WAITING, SIGN): RECEIVED,
    (WAITING, ATTEST): RECEIVED,
    (WAITING, STOP): STOPPED,
    (RECEIVED, VERIFY): VERIFIED,
    (RECEIVED, QUERY): QUERIED,
    (RECEIVED, RETURN): RETURNED,
    (RECEIVED, AMEND): RECEIVED,
    (RECEIVED, RECHECK): RECEIVED,
    (RECEIVED, STOP): STOPPED,
    (QUERIED, ANSWER): RECEIVED,
    (QUERIED, RETURN): RETURNED,
    (QUERIED, AMEND): RECEIVED,
    (QUERIED, RECHECK): RECEIVED,
    (QUERIED, STOP): STOPPED,
    (RETURNED, RESUBMIT): RECEIVED,
    (RETURNED, STOP): STOPPED,
    (VERIFIED, AMEND): RECEIVED,
    (VERIFIED, RECHECK): RECEIVED,
    (VERIFIED, STOP): STOPPED,
}

STATES: Final = tuple(dict.fromkeys([*(state for state, _ in ORDER), *ORDER.values()]))
EVENTS: Final = tuple(dict.fromkeys(event for _, event in ORDER))
