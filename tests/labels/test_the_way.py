"""One pack goes the whole way."""

from __future__ import annotations

import pytest

from tests.packs import Shelf, supplied, view

pytestmark = pytest.mark.django_db


def test_a_pack_goes_the_whole_way(on_shelf: Shelf) -> None:
    code = supplied(on_shelf)
    seen = view(on_shelf, code)
    assert (seen.state, seen.units, seen.supplied_to) == ("supplied", seen.wanted, "ward 3")
    assert [(one.kind, one.state, one.became) for one in seen.documents] == [
        ("label", "original", "applied"),
        ("certificate", "original", ""),
    ]


def test_pictures(on_shelf: Shelf) -> None:
    import shutil
    from pathlib import Path

    from django.conf import settings

    from labels import services as labels

    code = supplied(on_shelf)
    cast = on_shelf.cast
    labels.draft_label(cast.tomas, code, at=on_shelf.at)
    labels.weighing_sheet(cast.tomas, on_shelf.bench.lot, at=on_shelf.at)
    labels.plate_map(cast.tomas, on_shelf.batch, at=on_shelf.at)
    labels.trace_report(cast.otto, code, at=on_shelf.at)
    shutil.copytree(Path(settings.DOSEWRIGHT_HOME) / "documents", "/tmp/pictures", dirs_exist_ok=True)
