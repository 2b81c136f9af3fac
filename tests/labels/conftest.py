"""What the tests of packing, release and supply share: one closed batch of one order."""

import pytest

from tests.packs import Shelf, shelf


@pytest.fixture
def on_shelf(db: None) -> Shelf:
    """A closed batch whose zones passed, with the law pack in use."""
    return shelf()
