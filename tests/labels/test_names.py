"""Who may open a document that names a patient."""

from __future__ import annotations

import pytest

from dosewright.ground.models import ReadEntry
from dosewright.ground.pure.errors import NotAllowed
from dosewright.roof.api.documents import file_of
from tests.labels.sharing import OnShelf
from tests.packs import applied_label, labelled, view


class OpenedLabel(OnShelf):
    """A pack with its label original."""

    def test_a_label_is_opened_by_those_who_pack_and_never_by_an_auditor(self) -> None:
        pack = labelled(self.on)
        label = applied_label(self.on, pack)
        for actor in (self.on.cast.tomas, self.on.cast.rosa):
            name, data = file_of(actor, label, at=self.on.at)
            assert name.startswith("label-")
            assert data.startswith(b"%PDF")
        read = ReadEntry.objects.filter(view=f"document {label}")
        assert read.count() == 2
        with pytest.raises(NotAllowed) as refused:
            file_of(self.on.cast.otto, label, at=self.on.at)
        assert refused.value.refusals[0].accepted == "pharmacist, technician"
        assert read.count() == 2
        assert view(self.on, pack).documents
