"""Every check of this folder, shown to fail on a page that was spoiled for it."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from playwright.sync_api import Browser, Page

from tests.browser.hands import Hands
from tests.browser.house import House
from tests.browser.looks import NARROW, WIDE, too_wide, violations
from tests.browser.map import Found, Walker, faults_of, shape_of
from tests.browser.watch import Watch

GOOD = (
    '<!doctype html><html lang="en-gb"><head><title>Spoiled</title></head><body>'
    '<a href="#main">Skip to the page</a><main id="main" tabindex="-1"><h1>Spoiled</h1>{body}</main></body></html>'
)
POLICY = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src *"


Serve = Callable[..., Page]


@pytest.fixture
def spoiled(house: House, chromium: Browser) -> Iterator[Serve]:
    """Serve a spoiled page at the house's address, without a watch of the folder over it."""
    contexts = []

    def serve(body: str, *, policy: str = POLICY, watch: Watch | None = None) -> Page:
        context = chromium.new_context(base_url=house.base_url, viewport={"width": WIDE, "height": 900})
        contexts.append(context)
        if watch:
            watch.over(context)
        page = context.new_page()
        text = GOOD.format(body=body)
        page.route(
            "**/spoiled",
            lambda route: route.fulfill(
                body=text, content_type="text/html", headers={"Content-Security-Policy": policy}
            ),
        )
        page.goto("/spoiled")
        return page

    yield serve
    for context in contexts:
        context.close()


@pytest.mark.parametrize(
    ("body", "policy", "fault"),
    [
        ('<img alt="" src="http://elsewhere.example/mark.png">', POLICY, "a request left the server"),
        ('<img alt="" src="/static/missing.svg">', POLICY, "404"),
        ("<script>console.error('broken')</script>", POLICY, "console error: broken"),
        ("<script>console.warn('odd')</script>", POLICY, "console warning: odd"),
        ("<script>throw new Error('thrown')</script>", POLICY, "script: "),
        ('<p style="color: red">red</p>', "default-src 'none'", "content policy broken: style-src"),
        ("<script>1</script>", "default-src 'none'", "content policy broken: script-src"),
    ],
)
def test_the_watch_hears(house: House, spoiled: Serve, body: str, policy: str, fault: str) -> None:
    watch = Watch(base_url=house.base_url)
    page = spoiled(body, policy=policy, watch=watch)
    page.wait_for_timeout(100)
    assert any(fault in one for one in watch.faults), watch.faults
    with pytest.raises(AssertionError):
        watch.calm()
    watch.calm()


def test_the_watch_is_calm_over_a_good_page(house: House, spoiled: Serve) -> None:
    watch = Watch(base_url=house.base_url)
    spoiled("<p>good</p>", watch=watch)
    watch.calm()


@pytest.mark.parametrize(
    ("body", "fault"),
    [
        ("<style>button:focus { outline: none }</style><button>Go</button>", "no outline"),
        ('<button>Go</button><div style="position: fixed; inset: 0; background: white"></div>', "under something"),
        ('<button style="position: fixed; left: -400px; outline: 3px solid">Go</button>', "outside the window"),
        ('<button style="width: 0; height: 0; padding: 0; border: 0; overflow: hidden">Go</button>', "nothing to see"),
        ('<button tabindex="-1">Go</button>', "no way by Tab"),
    ],
)
def test_the_hands_stop_at(spoiled: Serve, body: str, fault: str) -> None:
    ring = "<style>:focus-visible { outline: 3px solid }</style>"
    hands = Hands(page=spoiled(ring + body, policy="default-src 'none'; style-src 'unsafe-inline'"))
    with pytest.raises(AssertionError, match=fault):
        hands.press("Go")


def test_the_hands_find_a_field_by_its_step_and_see_what_they_type(spoiled: Serve) -> None:
    field = '<div role="group" aria-label="Step {n}"><label for="d{n}">Dose</label><input id="d{n}"></div>'
    ring = "<style>:focus-visible { outline: 3px solid }</style>"
    page = spoiled(ring + field.format(n=1) + field.format(n=2))
    hands = Hands(page=page)
    hands.type("Dose", "2 mg", inside="Step 2")
    assert page.locator("#d2").input_value() == "2 mg"
    page.locator("#d1").evaluate("(field) => field.maxLength = 3")
    with pytest.raises(AssertionError, match="2 m"):
        hands.type("Dose", "2 mg", inside="Step 1")


def test_what_is_too_wide_is_found(spoiled: Serve) -> None:
    narrow = too_wide(spoiled('<p style="width: 400px">wide</p>'))
    assert any("at 320 px" in one for one in narrow)
    assert not any("at 1280 px" in one for one in narrow)
    assert any("at 1280 px" in one for one in too_wide(spoiled('<p style="width: 1400px">wide</p>')))
    assert not too_wide(spoiled('<div class="scroll" style="overflow-x: auto"><p style="width: 1400px">x</p></div>'))


def test_axe_finds_a_missing_label_and_pale_text_in_the_dark(spoiled: Serve) -> None:
    pale = "@media (prefers-color-scheme: dark) { p { color: #777; background: #888 } }"
    page = spoiled(f"<style>{pale}</style><p>pale</p>")
    assert not violations(page, dark=False, width=WIDE)
    assert "color-contrast" in " ".join(violations(page, dark=True, width=NARROW))
    assert "label" in " ".join(violations(spoiled("<input>"), dark=False, width=WIDE))


def found(text: str, *, status: int = 200) -> Found:
    """Return a page as if it had been found."""
    return Found(path="/spoiled", status=status, kind="text/html", text=text)


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("<h1>", "<h1>Twice</h1><h1>", "headings"),
        ("<h1>Spoiled</h1>", "", "headings"),
        ("<title>Spoiled</title>", "<title> </title>", "titles"),
        ('lang="en-gb"', "", "language"),
        ("{body}", '<p style="color: red">', "inline: ['p style']"),
        ("{body}", '<p onclick="x()">', "inline: ['p onclick']"),
        ("{body}", "<script>1</script>", "inline: ['script']"),
        ("{body}", "<style>p {}</style>", "inline: ['style']"),
        ("{body}", '<a href="https://elsewhere.example/">x</a>', "elsewhere"),
        ("{body}", '<a href="javascript:x()">x</a>', "elsewhere"),
        ("{body}", '<i id="main"></i>', "ids used twice"),
    ],
)
def test_what_is_written_wrong_is_found(old: str, new: str, fault: str) -> None:
    assert not faults_of(found(GOOD.replace("{body}", "")))
    (said,) = faults_of(found(GOOD.replace(old, new).replace("{body}", "")))
    assert fault in said


def test_the_walker_meets_what_is_not_there(house: House) -> None:
    page = next(Walker(base_url=house.base_url, cookie="").walk("/nothing-here"))
    assert "status 404" in " ".join(faults_of(page))
    assert shape_of("/order/RX-HWHX6GGJ?back=/&state=x") == shape_of("/order/RX-7XXCMCHE?state=y")
    assert shape_of("/audit/12") == "/audit/{number}"
