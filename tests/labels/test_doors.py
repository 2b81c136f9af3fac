"""The doors of packing and release: the same way by named fields alone, and what each answers."""

from __future__ import annotations

from typing import Any

import pytest

from dosewright.ground.models import AuditEntry
from dosewright.ground.pure.errors import BadInput, Conflict, NotThere
from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import DOORS, LOOKS, plain
from dosewright.roof.api import registry
from tests.cast import PASSWORD
from tests.labels.sharing import OnShelf
from tests.packs import CONTAINER


class TestDoors(OnShelf):
    """A closed batch whose zones passed."""

    @classmethod
    def build(cls) -> None:
        registry.load()

    def take(self, actor: Actor, key: str, code: str, **raw: Any) -> dict[str, Any]:
        found: dict[str, Any] = plain(DOORS[key]().take(actor, code, raw, at=self.on.at))
        return found

    def sign(self, actor: Actor, key: str, code: str, **raw: Any) -> dict[str, Any]:
        shown = DOORS[key]().shown_with_digest(actor, code, at=self.on.at)
        return self.take(actor, key, code, password=PASSWORD, shown_digest=shown["shown_digest"], **raw)

    def look(self, code: str) -> dict[str, Any]:
        found: dict[str, Any] = plain(LOOKS["pack"]().one(self.on.cast.rosa, code, at=self.on.at))
        return found

    def test_the_whole_way_by_doors(self) -> None:
        cast, zone = self.on.cast, self.on.zones[0]
        assert self.sign(cast.rosa, "zone/approve-to-pack", zone)["state"] == "approved to pack"
        started = self.take(cast.tomas, "pack+", "", zone=zone, container_lot=CONTAINER, line_is_clear=True)
        code = started["code"]
        assert {one["code"] for one in self.look(code)["blockers"]} >= {"not-packed", "second-scan-missing"}
        self.take(cast.tomas, "pack/fill", code, zone=zone, count=self.look(code)["wanted"])
        assert self.take(cast.tomas, "pack/draft-label", code)["document"]
        label = self.take(cast.tomas, "pack/issue-label", code)["document"]
        self.take(cast.tomas, "pack/account-label", code, label_code=label, became="applied")
        self.take(cast.ada, "pack/second-scan", code, zone=zone, container_lot=CONTAINER, label_code=label)
        assert self.take(cast.tomas, "pack/close", code)["state"] == "packed"
        assert self.look(code)["blockers"] == []
        assert self.take(cast.rosa, "pack/draft-certificate", code)["document"]
        released = self.sign(cast.jonas, "pack/release", code, scanned=code)
        assert (released["state"], bool(released["document"])) == ("released", True)
        assert self.take(cast.tomas, "pack/supply", code, scanned=code, to_whom="patient")["state"] == "supplied"
        back = self.take(cast.tomas, "pack/take-back", code, units=1, reason="patient left")
        assert back["state"] == "returned"
        gone = self.take(
            cast.rosa, "pack/destroy", code, witness="ada.brandt", witness_password=PASSWORD, reason="came back"
        )
        assert gone["state"] == "destroyed"
        seen = self.look(code)
        assert [one["what"] for one in seen["remarks"]] == ["taken back", "destroyed"]
        assert (seen["released_by"], seen["supplied_to"]) == ("Jonas Weber", "patient")

    def test_papers_and_law_by_doors(self) -> None:
        cast = self.on.cast
        sheet = self.take(cast.tomas, "resin-lot/weighing-sheet", self.on.bench.lot)
        plate = self.take(cast.ada, "batch/plate-map", self.on.batch)
        report = self.take(cast.otto, "trace/report", self.on.batch)
        assert {one["state"] for one in (sheet, plate, report)} == {"original"}
        with pytest.raises(Conflict, match="is in use at this site as it stands"):
            self.sign(cast.lena, "law-pack/sign", "demo 2026.1")

    def test_what_is_refused_at_a_door_is_on_record(self) -> None:
        cast, before = self.on.cast, AuditEntry.objects.count()
        for key, code, raw in (
            ("pack+", "", {"zone": self.on.zones[0]}),
            ("pack/fill", "PK-33333333", {"zone": "nonsense", "count": -1}),
            ("pack/account-label", "PK-33333333", {"label_code": "DC-1", "became": "eaten"}),
        ):
            with pytest.raises(BadInput):
                self.take(cast.tomas, key, code, **raw)
        with pytest.raises((BadInput, NotThere)):
            self.take(cast.tomas, "pack/close", "PK-33333333")
        rows = AuditEntry.objects.order_by("pk")[before:]
        assert [row.outcome for row in rows] == ["refused"] * 4
