"""What the tests of the plates share."""

import pytest

from tests.batches import Bench, bench
from tests.cast import Cast, demo_substance, found_cast


@pytest.fixture
def cast(db: None) -> Cast:
    """The demo site with hydrocortisone on file."""
    cast = found_cast()
    demo_substance(cast)
    return cast


@pytest.fixture
def at_bench(cast: Cast) -> Bench:
    """A validated formulation, an approved lot and a linked printer."""
    return bench(cast)
