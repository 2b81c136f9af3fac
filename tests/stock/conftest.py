"""One set-up for success and refusal alike."""

from __future__ import annotations

import pytest

from tests.cast import Bench, Cast, found_cast, ready_bench, with_hydrocortisone


@pytest.fixture
def cast() -> Cast:
    cast = found_cast()
    with_hydrocortisone(cast)
    return cast


@pytest.fixture
def bench(cast: Cast) -> Bench:
    return ready_bench(cast)
