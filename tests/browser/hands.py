"""A person at the keyboard: Tab, Shift and Tab, arrows, Enter, Space and typing; no mouse, no look into the page.

Every stop of the focus must be seen: an outline of at least 2 px around a control that lies within the window
and under nothing else (WCAG 2.2, success criteria 2.4.7 and 2.4.11).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import Any

from playwright.sync_api import Page

MOST_STOPS = 150
SKIP = "Skip to the page"

STOP = """
() => {
  const at = document.activeElement, body = document.body;
  if (!at || at === body || at === document.documentElement) return null;
  const tidy = (text) => (text || "").replace(/\\s+/g, " ").trim();
  const labels = at.labels && at.labels.length ? [...at.labels].map((one) => tidy(one.innerText)).join(" ") : "";
  const group = at.closest("fieldset") ? tidy(at.closest("fieldset").querySelector("legend").innerText) : "";
  const inside = at.closest("[role=group][aria-label]");
  const drawn = at.closest("svg") ? at.querySelector("polygon, rect") : null;
  const box = (drawn || at).getBoundingClientRect(), style = getComputedStyle(at);
  const x = box.x + Math.min(box.width / 2, 8);
  const y = Math.min(Math.max(box.y + box.height / 2, box.y > 0 ? box.y + 1 : 0), innerHeight - 1);
  const above = document.elementFromPoint(x, y);
  return {
    tag: at.tagName.toLowerCase(), type: at.type || "", id: at.id, value: at.value || "", checked: !!at.checked,
    name: tidy(at.getAttribute("aria-label")) || labels || tidy(at.innerText) || tidy(at.value),
    group, inside: inside ? tidy(inside.getAttribute("aria-label")) : "",
    chosen: at.tagName === "SELECT" ? tidy(at.selectedOptions[0].innerText) : "",
    outline: style.outlineStyle === "none" ? 0 : parseFloat(style.outlineWidth),
    width: box.width, height: box.height,
    within: box.bottom > 0 && box.right > 0 && box.top < innerHeight && box.left < innerWidth,
    clear: !!above && (at.contains(above) || above.contains(at)),
  };
}
"""


@dataclass(slots=True, kw_only=True)
class Stop:
    """Where the focus is, as its person perceives it."""

    facts: dict[str, Any]

    @property
    def name(self) -> str:
        """What the control is called; what is optional is still called by its name."""
        return str(self.facts["name"]).removesuffix(" optional")

    def is_seen(self) -> None:
        """Fail unless the focus can be seen."""
        facts = self.facts
        assert facts["outline"] >= 2, f"no outline: {facts}"
        assert facts["width"] > 1 and facts["height"] > 1, f"nothing to see: {facts}"  # noqa: PT018
        assert facts["within"], f"outside the window: {facts}"
        assert facts["clear"], f"under something else: {facts}"


@dataclass(slots=True, kw_only=True)
class Hands:
    """Two hands on the keyboard of one page."""

    page: Page
    stops: list[str] = field(default_factory=list)

    def stop(self) -> Stop | None:
        """Return where the focus is; None when it is nowhere."""
        facts = self.page.evaluate(STOP)
        return Stop(facts=facts) if facts else None

    def tab(self, key: str = "Tab") -> Stop | None:
        """Go on to the next control and see that it can be seen."""
        self.page.keyboard.press(key)
        stop = self.stop()
        if stop:
            stop.is_seen()
            self.stops.append(stop.name)
        return stop

    def past_the_top(self) -> None:
        """Take the way past the top, which is the first stop of every page."""
        first = self.tab()
        assert first is not None
        assert first.name == SKIP
        self.page.keyboard.press("Enter")

    def to(self, name: str, *, inside: str = "", group: str = "", tag: str = "", top: bool = False) -> Stop:
        """Press Tab until the control of that name has the focus; on a new page past its top, unless it is there."""
        if not top and self.stop() is None:
            self.past_the_top()
        seen: list[str] = []
        for _ in range(MOST_STOPS):
            stop = self.tab()
            if stop is None:
                continue
            seen.append(stop.name)
            if seen.count(SKIP) > 1:
                break
            facts = stop.facts
            if (
                stop.name == name
                and inside in {"", facts["inside"]}
                and group in {"", facts["group"].removesuffix(" optional")}
                and tag in {"", facts["tag"]}
            ):
                return stop
        raise AssertionError(f"no way by Tab to {name!r} {inside} {group}; passed {sorted(set(seen))}")

    def type(self, name: str, text: str, **where: Any) -> None:
        """Go to a field and type."""
        self.to(name, **where)
        self.page.keyboard.press("Control+A")
        self.page.keyboard.type(text)
        now = self.stop()
        assert now is not None
        assert now.facts["value"] == text, (name, now.facts["value"])

    def type_date(self, name: str, day: date, **where: Any) -> None:
        """Go to a date field and type month, day and year, as this Chromium is set to order them."""
        self.to(name, **where)
        self.page.keyboard.type(f"{day:%m%d%Y}")
        now = self.stop()
        assert now is not None
        assert now.facts["value"] == day.isoformat(), (name, now.facts["value"])

    def choose(self, group: str, option: str) -> None:
        """Go to a group of radio buttons and move to an option."""
        stop = self._first_of(group)
        self.page.keyboard.press("Space")
        for _ in range(MOST_STOPS):
            now = self.stop()
            assert now is not None
            if now.name == option:
                assert now.facts["checked"], (group, option)
                return
            self.page.keyboard.press("ArrowDown")
        raise AssertionError(f"{group} has no {option}: {stop.facts}")

    def select(self, name: str, option: str) -> None:
        """Go to a list of choices and type the beginning of one."""
        self.to(name, tag="select")
        self.page.keyboard.type(option)
        now = self.stop()
        assert now is not None
        assert now.facts["chosen"] == option, (name, now.facts["chosen"])

    def press(self, name: str, *, tag: str = "button", top: bool = False) -> None:
        """Go to a button and press Enter; the page that follows is loaded when this returns."""
        self.to(name, tag=tag, top=top)
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")

    def follow(self, name: str, *, top: bool = False) -> None:
        """Go to a link and press Enter."""
        self.press(name, tag="a", top=top)

    def wait_at(self, name: str, *, inside: str = "") -> None:
        """Wait until the page itself has put the focus on a field."""
        for _ in range(100):
            stop = self.stop()
            if stop and stop.name == name and inside in {"", stop.facts["inside"]}:
                return stop.is_seen()
            self.page.wait_for_timeout(20)
        raise AssertionError(f"the page does not begin at {name!r} {inside} but at {self.stop()}")

    def enter(self) -> None:
        """Press Enter in a field, which sends its form."""
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")

    def _first_of(self, group: str) -> Stop:
        if self.stop() is None:
            self.past_the_top()
        for _ in range(MOST_STOPS):
            stop = self.tab()
            if stop and stop.facts["group"].removesuffix(" optional") == group:
                return stop
        raise AssertionError(f"no way by Tab to {group!r}; passed {self.stops}")
