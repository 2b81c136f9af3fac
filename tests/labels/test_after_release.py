"""Supply: once, only after release, and never after a stop or a late finding."""

from __future__ import annotations

import pytest

from dosewright.ground.pure.errors import Blocked, Conflict
from labels import services as labels
from labels.models import Supply
from prescriptions.services import stop_order
from printing.runs import services as runs
from tests.cast import pen
from tests.labels.sharing import OnShelf
from tests.packs import Shelf, packed, released, view


def late_deviation(on: Shelf) -> str:
    """Open a deviation of the first zone when its pack is released already (Ada)."""
    return runs.open_deviation(
        on.cast.ada,
        kind="found in the bath",
        text="half a unit of this zone was found in the bath",
        effect="units of the zone may be broken",
        zones=[on.zones[0]],
        at=on.at,
    ).code


def close(on: Shelf, deviation: str, decision: str) -> None:
    """Close a deviation (Lena)."""
    runs.close_deviation(
        on.cast.lena,
        deviation,
        investigation="the bath and its record were looked through",
        action_taken="the bath was emptied and cleaned",
        decision=decision,
        pen=pen(runs.shown_for_close(on.cast.lena, deviation)),
        at=on.at,
    )


def supply(on: Shelf, code: str) -> None:
    """Supply a pack (Tomas)."""
    labels.supply_pack(on.cast.tomas, code, scanned=code, to_whom="ward 3", at=on.at)


class AfterRelease(OnShelf):
    """One released pack, and a deviation that is seen only then."""

    @classmethod
    def build(cls) -> None:
        cls.code = released(cls.on)

    def test_a_deviation_found_after_release_holds_the_pack_until_it_may_be_used(self) -> None:
        deviation = late_deviation(self.on)
        with pytest.raises(Blocked) as refused:
            supply(self.on, self.code)
        assert [(one.field, one.value) for one in refused.value.refusals] == [("deviation", deviation)]
        close(self.on, deviation, "may be used")
        supply(self.on, self.code)
        assert view(self.on, self.code).state == "supplied"

    def test_goods_that_must_not_be_used_are_never_supplied(self) -> None:
        deviation = late_deviation(self.on)
        close(self.on, deviation, "must not be used")
        with pytest.raises(Blocked) as refused:
            supply(self.on, self.code)
        (one,) = refused.value.refusals
        assert (one.field, one.value) == ("deviation", deviation)
        assert "must not be used" in one.message
        assert view(self.on, self.code).state == "released"

    def test_a_stop_between_release_and_supply_is_heard(self) -> None:
        stop_order(self.on.cast.mira, self.on.order, reason="the patient was moved", at=self.on.at)
        with pytest.raises(Blocked) as refused:
            supply(self.on, self.code)
        assert [(one.field, one.value) for one in refused.value.refusals] == [("order", "stopped")]
        assert not Supply.objects.exists()

    def test_it_is_supplied_once(self) -> None:
        supply(self.on, self.code)
        with pytest.raises(Conflict) as refused:
            supply(self.on, self.code)
        assert refused.value.refusals[0].value == "supplied"
        assert Supply.objects.count() == 1

    def test_what_was_taken_back_is_not_supplied_again(self) -> None:
        supply(self.on, self.code)
        labels.take_back_pack(self.on.cast.tomas, self.code, units=1, reason="not needed any more", at=self.on.at)
        with pytest.raises(Conflict) as refused:
            supply(self.on, self.code)
        assert refused.value.refusals[0].value == "returned"


class BeforeRelease(OnShelf):
    """A packed pack that nobody released."""

    def test_nothing_is_supplied_before_release(self) -> None:
        code = packed(self.on)
        with pytest.raises(Conflict) as refused:
            supply(self.on, code)
        assert refused.value.refusals[0].value == "packed"
        assert not Supply.objects.exists()
