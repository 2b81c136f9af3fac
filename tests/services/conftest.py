"""One pair of servers for the whole suite."""

from collections.abc import Iterator

import pytest

from tests.services.servers import Servers, running_servers


@pytest.fixture(scope="session")
def servers() -> Iterator[Servers]:
    """A Redis and a PostgreSQL of this run's own."""
    with running_servers() as started:
        yield started
