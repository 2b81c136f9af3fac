"""What a page must be once it is drawn: no wider than its window, and clean by axe."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import axe_playwright_python
from playwright.sync_api import Page

AXE = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
NARROW, WIDE = 320, 1280
"""CSS pixels: 320 is 1280 at 400 % zoom (WCAG 2.2, success criterion 1.4.10)."""

TOO_WIDE = """
() => {
  const most = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth <= most) return [];
  return [...document.body.querySelectorAll("*")]
    .filter((one) => one.getBoundingClientRect().right > most + 1 && !one.closest(".scroll"))
    .map((one) => `${one.tagName.toLowerCase()}.${one.className} reaches ${one.getBoundingClientRect().right}`)
    .slice(0, 5).concat([`the page is ${document.documentElement.scrollWidth} wide in ${most}`]);
}
"""


def too_wide(page: Page) -> list[str]:
    """Return what makes a page scroll sideways, wide and at 320 px; tables scroll inside themselves."""
    found: list[str] = []
    for width in (WIDE, NARROW):
        page.set_viewport_size({"width": width, "height": 900})
        found += [f"{page.url} at {width} px: {one}" for one in page.evaluate(TOO_WIDE)]
    return found


def violations(page: Page, *, dark: bool, width: int, only: tuple[str, ...] = ()) -> list[str]:
    """Return what axe finds in the page in one scheme at one width, by `only` some rules or by all but experiments."""
    page.set_viewport_size({"width": width, "height": 900})
    page.emulate_media(color_scheme="dark" if dark else "light")
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(AXE)
    options = {"resultTypes": ["violations"], "preload": False} | ({"runOnly": list(only)} if only else {})
    found: list[dict[str, Any]] = page.evaluate(
        "(options) => axe.run(document, options).then((one) => one.violations)", options
    )
    look = f"{'dark' if dark else 'light'}, {width} px"
    return [
        f"{page.url} ({look}): {one['id']}: {one['help']}: {one['nodes'][0]['html'][:200]} "
        f"and {len(one['nodes']) - 1} more; {one['nodes'][0].get('failureSummary', '')}"
        for one in found
    ]
