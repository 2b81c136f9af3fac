"""A pair of servers for each file of tests, so that no test finds the sites or the work of another."""

from collections.abc import Iterator

import pytest

from tests.services.servers import Servers, running_servers


@pytest.fixture(scope="module")
def servers() -> Iterator[Servers]:
    """A Redis and a PostgreSQL of these tests' own."""
    with running_servers() as started:
        yield started
