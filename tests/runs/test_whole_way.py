"""One batch goes the whole way."""

from __future__ import annotations

import pytest

from printing.plates.queries import batch_facts
from tests.batches import run_to
from tests.runs.conftest import Plate

pytestmark = pytest.mark.django_db


def test_a_batch_goes_the_whole_way(plate: Plate) -> None:
    run_to(plate.cast, plate.batch, "closed")
    facts = batch_facts(plate.batch, site_id=plate.cast.site.pk)
    assert facts.state == "closed"
    for zone in facts.zones:
        assert zone.state == "passed"
        wanted = {"tested": 2} if zone.line is None else {"printed": zone.wanted, "surplus": zone.spares}
        assert zone.counts == wanted
