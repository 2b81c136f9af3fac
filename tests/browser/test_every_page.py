"""Every page of every person: written as it must be, no wider than its window, and clean by axe.

Links are followed from each person's home. All pages are read as they are written; one of each address
without its codes is drawn by Chromium, and a representative set is looked at by axe; `test_any_page`, run by
its name, lets axe look at one of every address and state.
"""

from __future__ import annotations

import pytest

from tests.browser.conftest import PERSON, Shots
from tests.browser.house import House
from tests.browser.looks import NARROW, WIDE, too_wide, violations
from tests.browser.map import Found, faults_of
from tests.browser.maps import ONE_OF_EACH, one_of_each


@pytest.mark.parametrize("username", ONE_OF_EACH)
def test_every_page_is_written_as_it_must_be(maps: dict[str, list[Found]], username: str) -> None:
    pages = maps[username]
    faults = [fault for page in pages for fault in faults_of(page)]
    assert not faults, "\n".join(faults)
    refused = [f"{page.path}: {page.status}" for page in pages if page.status != 200]
    assert not refused, f"links that lead {username} to a refusal: {refused}"
    assert len(pages) >= LEAST[username], len(pages)


LEAST = {
    "mira.voss": 20,
    "tomas.lind": 50,
    "rosa.keller": 70,
    "otto.krug": 50,
    "nora.stein": 25,
    "paul.berg": 25,
}
"""Fewer pages than these means that the way from home was lost."""


def test_no_page_is_wider_than_its_window(maps: dict[str, list[Found]], page_as: PERSON) -> None:
    shapes = one_of_each(maps, by_state=False)
    faults: list[str] = []
    for username in ONE_OF_EACH:
        page = page_as(username)
        for path in sorted(path for name, path in shapes.values() if name == username):
            page.goto(path)
            faults += too_wide(page)
    assert not faults, "\n".join(faults)


REPRESENTATIVE: tuple[tuple[str, str], ...] = (
    ("", "/sign-in"),
    ("", "/cautions"),
    ("mira.voss", "/"),
    ("mira.voss", "/order/new"),
    ("tomas.lind", "/order/new/import"),
    ("rosa.keller", "/order/{to check}"),
    ("rosa.keller", "/order/{to check}/verify"),
    ("tomas.lind", "/"),
    ("tomas.lind", "/batch/{planned batch}"),
    ("tomas.lind", "/zone/{zone}"),
    ("lena.fuchs", "/pack/{packed}"),
    ("lena.fuchs", "/pack/{packed}/release"),
    ("tomas.lind", "/resin-lot/{lot to weigh}"),
    ("tomas.lind", "/resin-lot/{lot to weigh}/weigh"),
    ("otto.krug", "/audit"),
    ("otto.krug", "/trace/{lot to weigh}"),
    ("nora.stein", "/formulation/{formulation}"),
    ("paul.berg", "/order/{verified}"),
    ("paul.berg", "/person"),
)
"""One page of each making; the last but one is a refusal."""


@pytest.mark.parametrize(("username", "path"), REPRESENTATIVE, ids=lambda value: value.replace("/", " ").strip())
def test_axe_finds_nothing_in_a_representative_set(
    house: House, page_as: PERSON, shots: Shots, username: str, path: str
) -> None:
    page = page_as(username)
    page.goto(path.format_map(house.made))
    faults = violations(page, dark=False, width=WIDE) + violations(page, dark=True, width=NARROW)
    shots(page, f"{username} {path} dark narrow")
    page.set_viewport_size({"width": WIDE, "height": 900})
    page.emulate_media(color_scheme="light")
    shots(page, f"{username} {path}")
    assert not faults, "\n".join(faults)
