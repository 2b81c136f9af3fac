"""What the order tests share: the site with its people and one substance."""

import pytest

from tests.cast import Cast, demo_substance, found_cast


@pytest.fixture
def cast(db: None) -> Cast:
    """The demo site with hydrocortisone set up."""
    cast = found_cast()
    demo_substance(cast)
    return cast
