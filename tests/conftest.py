"""What every test shares; `tests.settings` gives the home, the file database and the fast hasher."""

from collections.abc import Iterator

import pytest

pytest_plugins = ["tests.suites"]


SLOW = ("services", "flows", "browser")
"""Folders whose files take longest: they begin first, so that no core waits for the last of them at the end."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the slow folders first and leave all else in its order."""
    from tests.suites import suite_of

    items.sort(key=lambda item: suite_of(item.nodeid) not in SLOW)


@pytest.fixture(autouse=True)
def lift_triggers_before_the_flush(request: pytest.FixtureRequest) -> Iterator[None]:
    """Let a transactional test clear its tables; the flush's post_migrate puts the triggers back."""
    marker = request.node.get_closest_marker("django_db")
    if marker is None or not marker.kwargs.get("transaction"):
        yield
        return
    request.getfixturevalue("transactional_db")
    yield
    from dosewright.ground import triggers

    triggers.remove()
