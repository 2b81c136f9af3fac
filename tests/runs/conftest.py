"""What the tests of runs share: one small batch of two lines, planned at a bench."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pytest

from tests.batches import Bench, bench, checked_order, planned, ready
from tests.cast import Cast, demo_substance, found_cast

if TYPE_CHECKING:
    from tests.runs.testing import Testing

SHORT_COURSE = {
    "steps": [
        {"dose": "3 mg", "times": ["07:00"], "start_date": "2026-03-10", "days": 4},
        {"dose": "1.5 mg", "times": ["19:00"], "start_date": "2026-03-10", "days": 3},
    ]
}


@dataclass(slots=True, kw_only=True)
class Plate:
    """A cast, its bench and the batch it planned."""

    cast: Cast
    bench: Bench
    batch: str
    order: str


def small_plate(**printer: str) -> Plate:
    """Plan one order of two short lines."""
    cast = found_cast()
    demo_substance(cast)
    at_bench = bench(cast, **printer)
    order = checked_order(cast, regimen=SHORT_COURSE)
    (batch,) = planned(cast, at_bench)
    return Plate(cast=cast, bench=at_bench, batch=batch, order=order)


@pytest.fixture
def plate(db: None) -> Plate:
    """A planned batch."""
    return small_plate()


@pytest.fixture
def ready_plate(plate: Plate) -> Plate:
    """A batch whose plate file is delivered."""
    ready(plate.cast, plate.batch)
    return plate


@pytest.fixture
def testing(plate: Plate) -> Testing:
    """A batch whose finishing has ended."""
    from tests.runs.testing import Testing

    return Testing(plate)


@pytest.fixture
def measured(plate: Plate) -> Testing:
    """A batch of which everything is measured and as predicted."""
    from tests.runs.testing import Testing

    return Testing(plate, "tested")
