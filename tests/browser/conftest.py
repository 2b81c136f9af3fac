"""One living house and one Chromium for the folder; every page that a test opens is watched."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from tests.browser.house import House, living_house
from tests.browser.map import Found
from tests.browser.maps import walk_all
from tests.browser.watch import Watch
from tests.programs import find_program

FLAGS = (
    "--no-sandbox",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
    "--lang=en-US",
    "--host-resolver-rules=MAP * ~NOTFOUND , EXCLUDE 127.0.0.1",
)
WIDE = {"width": 1280, "height": 900}
PERSON = Callable[..., Page]
Shots = Callable[[Page, str], None]


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Leave the long look at every page to runs that name it."""
    named = any("test_any_page" in one for one in config.args)
    return True if collection_path.name == "test_any_page.py" and not named else None


@pytest.fixture(scope="package")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """A seeded home with its web server and worker."""
    with living_house(tmp_path_factory.mktemp("browser")) as alive:
        yield alive


@pytest.fixture(scope="package")
def chromium() -> Iterator[Browser]:
    """The distribution's Chromium; no name but the loopback address resolves in it.

    It ends with this folder's tests: while its driver runs, Django refuses the database to the tests that follow.
    """
    with sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=find_program("chromium"), args=list(FLAGS), env={**os.environ, "LANGUAGE": "en_US"}
        )
        yield browser
        browser.close()


@pytest.fixture(scope="package")
def sessions(house: House, chromium: Browser) -> Callable[[str], Any]:
    """Sign a person in once by the page and return what the browser keeps of it."""
    kept: dict[str, Any] = {}

    def session_of(username: str) -> Any:
        if username not in kept:
            context = chromium.new_context(base_url=house.base_url)
            page = context.new_page()
            page.goto("/sign-in")
            page.get_by_label("User name").fill(username)
            page.get_by_label("Password").fill(house.passwords[username])
            page.get_by_role("button", name="Sign in").click()
            page.get_by_role("heading", level=1, name="Waiting for me").wait_for()
            kept[username] = context.storage_state()
            context.close()
        return kept[username]

    return session_of


@pytest.fixture(scope="package")
def maps(house: House, sessions: Callable[[str], Any]) -> dict[str, list[Found]]:
    """Every person's pages."""
    return walk_all(house, sessions)


@pytest.fixture
def watched(house: House) -> Iterator[Watch]:
    """The watch over all pages of a test; the test fails for what it noted."""
    watch = Watch(base_url=house.base_url)
    yield watch
    watch.calm()


@pytest.fixture
def page_as(house: House, chromium: Browser, sessions: Callable[[str], Any], watched: Watch) -> Iterator[PERSON]:
    """Open a page as a person ("" for nobody): ``page_as("mira.voss", java_script_enabled=False)``."""
    opened = []

    def open_page(username: str, **options: Any) -> Page:
        context = chromium.new_context(
            base_url=house.base_url,
            storage_state=sessions(username) if username else None,
            **{"viewport": WIDE, "locale": "en-GB", "reduced_motion": "reduce", **options},
        )
        opened.append(context)
        watched.over(context)
        context.set_default_timeout(15_000)
        return context.new_page()

    yield open_page
    for context in opened:
        context.close()


@pytest.fixture(scope="package")
def shots(tmp_path_factory: pytest.TempPathFactory) -> Shots:
    """Keep a picture of the whole page in DOSEWRIGHT_X_SHOTS, or in a folder of this run."""
    wanted = os.environ.get("DOSEWRIGHT_X_SHOTS")
    folder = Path(wanted) if wanted else tmp_path_factory.mktemp("shots")
    folder.mkdir(parents=True, exist_ok=True)

    def keep(page: Page, name: str) -> None:
        page.screenshot(path=folder / f"{re.sub(r'[^a-z0-9]+', '-', name.lower()).strip('-')}.png", full_page=True)

    return keep
