"""The style sheet: contrast of its tokens in light and dark, and nothing fetched from elsewhere."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

PAGES = Path(__file__).parents[2] / "dosewright" / "roof" / "pages"
CSS = (PAGES / "static" / "dosewright.css").read_text(encoding="utf-8")
TEMPLATES = sorted((PAGES / "templates").rglob("*.html"))
TEXT = 4.5
"""Least contrast of text (WCAG 2.2, success criterion 1.4.3)."""
MARK = 3.0
"""Least contrast of what must be seen to understand or use a page (WCAG 2.2, 1.4.11)."""
SURFACES = ("paper", "sheet", "wash")
READ = ("ink", "soft", "link", "waits", "goes", "good", "held", "over")


def tokens(dark: bool) -> dict[str, str]:
    """Return the colours by name."""
    blocks = re.findall(r":root \{(.*?)\}", CSS, re.DOTALL)
    found = dict(re.findall(r"--([a-z-]+):\s*(#[0-9a-f]{6});", blocks[0]))
    return {**found, **dict(re.findall(r"--([a-z-]+):\s*(#[0-9a-f]{6});", blocks[1]))} if dark else found


def luminance(colour: str) -> float:
    """Return the relative luminance as WCAG 2.2 defines it."""
    channels = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio as WCAG 2.2 defines it."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_the_ratio_itself_against_known_values() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)  # by the definition in WCAG 2.2
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)  # well-known AA limit grey; from memory


@pytest.mark.parametrize("dark", [False, True])
def test_text_is_readable_on_every_surface(dark: bool) -> None:
    colours = tokens(dark)
    for surface in SURFACES:
        for name in READ:
            assert contrast(colours[name], colours[surface]) >= TEXT, (name, surface)
        assert contrast(colours["edge"], colours[surface]) >= MARK, surface
    assert contrast(colours["on-deed"], colours["deed"]) >= TEXT
    assert contrast(colours["on-amber"], colours["amber"]) >= TEXT


def test_rules_use_tokens_and_fetch_nothing() -> None:
    rules = CSS[CSS.index("*, *::before") : CSS.index("@media print")]
    assert not re.findall(r"#[0-9a-fA-F]{3,8}\b", rules)
    assert "url(" not in CSS
    assert "@import" not in CSS
    assert "outline: none" not in CSS.replace("main:focus { outline: none; }", "")


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.name)
def test_templates_speak_through_gettext_and_fetch_nothing(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    words = re.sub(r"\{% blocktranslate.*?endblocktranslate %\}", " ", text, flags=re.DOTALL)
    words = re.sub(r"\{%.*?%\}|\{\{.*?\}\}|<[^>]*>|&\w+;", " ", words, flags=re.DOTALL)
    left = [word for word in re.findall(r"[A-Za-z]{2,}", words) if word != "Dosewright"]
    assert not left, left
    assert not re.search(r"https?://|\sstyle=|<script|<style", text)
