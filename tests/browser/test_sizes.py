"""Units to scale and dose against size: as large on the screen as they are, told in words, reached by keyboard."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import PERSON, Shots
from tests.browser.house import House
from tests.browser.looks import NARROW, WIDE, too_wide, violations
from tests.browser.test_tasks import hands_of

CSS_PX_PER_MM = 96 / 25.4
"""CSS Values 3, absolute lengths: 1in = 96px = 25.4mm."""
BORDERS_PX = 2.0


def _sized(page: Page) -> None:
    """Hold every true-size drawing to its own length in millimetres, and every picture to its words."""
    drawings = page.locator("svg.unit-true")
    assert drawings.count() > 0
    for place in range(drawings.count()):
        one = drawings.nth(place)
        box = one.bounding_box()
        assert box is not None
        width_mm = float((one.get_attribute("width") or "").removesuffix("mm"))
        assert box["width"] - BORDERS_PX == pytest.approx(width_mm * CSS_PX_PER_MM, abs=0.5)
    for picture in page.locator("svg.unit-true, svg.unit-large, svg.dose-plot").all():
        title, desc = (picture.get_attribute("aria-labelledby") or "").split()
        assert picture.locator(f"[id='{title}']").text_content()
        assert picture.locator(f"[id='{desc}']").text_content()


def test_a_formulation_s_range_is_drawn_and_told(house: House, page_as: PERSON, shots: Shots) -> None:
    page = page_as("nora.stein")
    page.goto(house.address("formulation"))
    _sized(page)
    plot = page.locator("svg.dose-plot").first
    assert plot.locator(".dose-range").count() == 1
    lines = plot.locator(".dose-line").count()
    table = page.get_by_role("region", name=re.compile("as a table")).first
    assert table.locator("thead th").count() == lines + 4  # dose, layers, mass, studied
    expect(table.locator("tbody tr").first).to_contain_text("no")  # a little before the range begins
    shots(page, "formulation sizes")
    assert not too_wide(page)


def test_the_drawings_of_an_order_are_reached_by_keyboard(house: House, page_as: PERSON, shots: Shots) -> None:
    page = page_as("rosa.keller")
    hands = hands_of(page, house.address("to check"))
    _sized(page)
    summary = page.locator("summary", has_text="Dose against size").first
    assert not page.locator("svg.dose-plot").first.is_visible()
    hands.to(summary.inner_text().strip(), tag="summary")
    page.keyboard.press("Enter")
    expect(page.locator("svg.dose-plot").first).to_be_visible()
    assert page.locator("svg.dose-plot").first.locator(".dose-dot").count() >= 2
    faults = violations(page, dark=False, width=WIDE) + violations(page, dark=True, width=NARROW)
    shots(page, "order sizes")
    assert not faults, "\n".join(faults)
