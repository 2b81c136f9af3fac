"""Axe over one page of every shape, light and wide, and its contrast in the dark; run by its name: it takes minutes."""

from __future__ import annotations

import pytest

from tests.browser.conftest import PERSON
from tests.browser.looks import WIDE, violations
from tests.browser.map import Found
from tests.browser.maps import ONE_OF_EACH, one_of_each


@pytest.mark.parametrize("username", ONE_OF_EACH)
def test_axe_finds_nothing_in_any_page(maps: dict[str, list[Found]], page_as: PERSON, username: str) -> None:
    page = page_as(username)
    paths = sorted(path for name, path in one_of_each(maps).values() if name == username)
    assert paths
    faults: list[str] = []
    for path in paths:
        page.goto(path)
        faults += violations(page, dark=False, width=WIDE)
        faults += violations(page, dark=True, width=WIDE, only=("color-contrast",))
    assert not faults, "\n".join(faults)
