"""The maps of all persons, walked once for the folder, and one page of every shape."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tests.browser.house import House
from tests.browser.map import Found, Walker

ONE_OF_EACH = ("mira.voss", "tomas.lind", "rosa.keller", "otto.krug", "nora.stein", "paul.berg")
ORDERS = ("verified", "queried", "returned", "stopped", "to check")
MADE = ("planned batch", "batch", "zone", "packed", "supplied", "resin lot", "lot to weigh", "deviation")
STARTS: dict[str, tuple[str, ...]] = {
    "mira.voss": ORDERS,
    "tomas.lind": (*ORDERS, *MADE),
    "rosa.keller": (*ORDERS, *MADE),
    "otto.krug": (*ORDERS, *MADE),
    "nora.stein": ("batch", "planned batch", "resin lot", "formulation"),
    "paul.berg": ("printer", "balance"),
}
"""Records in every state that stands in the house, besides what home leads to."""


def walk_all(house: House, sessions: Callable[[str], Any]) -> dict[str, list[Found]]:
    """Return every person's pages; what is no page must be there."""
    found = {}
    for username in ONE_OF_EACH:
        cookie = "; ".join(f"{one['name']}={one['value']}" for one in sessions(username)["cookies"])
        walker = Walker(base_url=house.base_url, cookie=cookie)
        found[username] = list(walker.walk("/", *map(house.address, STARTS[username])))
        assert {status for status, _kind in walker.others.values()} <= {200}, walker.others
    return found


def one_of_each(maps: dict[str, list[Found]], *, by_state: bool = True) -> dict[tuple[str, str, int], tuple[str, str]]:
    """Return one person and address for every shape; homes belong to their persons."""
    found: dict[tuple[str, str, int], tuple[str, str]] = {}
    for username, pages in maps.items():
        for page in pages:
            address, state, status = page.shape
            address = f"/ {username}" if address == "/" else address
            found.setdefault((address, state if by_state else "", status), (username, page.path))
    return found
