"""After release: supplied once and only while nothing speaks against it; back, apart, destroyed before a witness."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import pytest

from dosewright.ground.models import AuditEntry
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotAllowed, Refused
from dosewright.ground.rest import DOORS
from dosewright.roof.api import registry
from labels import services as labels
from labels.models import Pack, PackRemark, Supply, TakenBack
from labels.queries.recall import recall_list
from prescriptions import services as orders
from prescriptions.models import DoseLine, Order, Patient, ScreenReport
from printing.plates.models import Zone
from printing.plates.queries import lacking_units, zone_facts
from printing.runs import services as runs
from printing.stock import services as stock
from printing.stock.models import IngredientLot
from tests.cast import NOW, PASSWORD, pen
from tests.labels.sharing import OnShelf, order_more, undone
from tests.packs import CONTAINER, Shelf, destroy, packed, released, view


def supply(on: Shelf, code: str, *, by: str = "tomas", scanned: str = "", at: object = None) -> labels.PackAnswer:
    return labels.supply_pack(
        getattr(on.cast, by),
        code,
        scanned=scanned or code,
        to_whom="ward 3",
        at=at or on.at,  # type: ignore[arg-type]
    )


def _stop(on: Shelf, code: str) -> object:
    return orders.stop_order(on.cast.rosa, on.order, reason="therapy changed", at=on.at)


def _block_lot(on: Shelf, code: str) -> object:
    return stock.block_resin_lot(on.cast.rosa, on.bench.lot, reason="a complaint came in", at=on.at)


def _hold(on: Shelf, code: str) -> object:
    return runs.open_deviation(
        on.cast.rosa, kind="other", text="a complaint came in", effect="not known", batch=on.batch, at=on.at
    )


AGAINST: tuple[tuple[str, Callable[[Shelf, str], object]], ...] = (
    ("order-not-verified", _stop),
    ("order-not-verified", lambda on, code: Patient.objects.update(allergies_recorded="not recorded")),
    ("order-not-verified", lambda on, code: Patient.objects.update(feeding_tube="yes")),
    ("order-not-verified", order_more),
    ("resin-lot", _block_lot),
    ("resin-lot", lambda on, code: IngredientLot.objects.update(state="blocked")),
    ("held", _hold),
    ("use-by-passed", lambda on, code: Pack.objects.update(use_by_date=date(2026, 3, 1))),
)


class TestSupply(OnShelf):
    """One released pack, and one that is only packed."""

    code: str
    waiting: str

    @classmethod
    def build(cls) -> None:
        cls.code = released(cls.on, 0)
        cls.waiting = packed(cls.on, 1)

    def states(self, number: int = 0) -> dict[str, int]:
        return dict(zone_facts(self.on.zones[number], site_id=self.on.cast.site.pk).counts)

    def test_a_released_pack_is_supplied_once_after_screening_again(self) -> None:
        before = ScreenReport.objects.filter(occasion="supply").count()
        assert supply(self.on, self.code).state == "supplied"
        assert ScreenReport.objects.filter(occasion="supply").count() == before + 1
        wanted = Pack.objects.get(code=self.code).wanted
        assert self.states()["supplied"] == wanted
        with pytest.raises(Conflict):
            supply(self.on, self.code)
        assert Supply.objects.count() == 1

    def test_whatever_speaks_against_it_holds_supply_by_service_and_door(self) -> None:
        registry.load()
        raw = {"scanned": self.code, "to_whom": "ward 3"}
        for rule, cause in AGAINST:
            with undone():
                cause(self.on, self.code)
                for given in ("tomas", "ada", "rosa", "jonas", "lena"):
                    with pytest.raises(Blocked) as refused:
                        supply(self.on, self.code, by=given)
                    assert rule in {one.rule for one in refused.value.refusals}, rule
                    with pytest.raises(Blocked):
                        DOORS["pack/supply"]().take(getattr(self.on.cast, given), self.code, raw, at=self.on.at)
                for given in ("mira", "otto", "nora", "paul"):
                    with pytest.raises(Refused):
                        supply(self.on, self.code, by=given)
                assert Pack.objects.get(code=self.code).state == "released"
                assert not Supply.objects.exists()

    def test_before_release_nothing_is_supplied(self) -> None:
        with pytest.raises(Conflict) as refused:
            supply(self.on, self.waiting)
        assert refused.value.refusals[0].value == "packed"
        with pytest.raises(BadInput, match="another pack"):
            supply(self.on, self.code, scanned=self.waiting)
        with pytest.raises(BadInput, match="by role"):
            labels.supply_pack(self.on.cast.tomas, self.code, scanned=self.code, to_whom=" ", at=self.on.at)

    def test_the_last_day_of_use_is_the_last_day_of_supply(self) -> None:
        last = Pack.objects.get(code=self.code).use_by_date
        noon = NOW.replace(year=last.year, month=last.month, day=last.day, hour=10)
        with undone():
            assert supply(self.on, self.code, at=noon).state == "supplied"
        with pytest.raises(Blocked, match="last day of use"):
            supply(self.on, self.code, at=noon + timedelta(days=1))

    def test_a_pack_that_comes_back_is_held_and_can_only_be_destroyed(self) -> None:
        tomas = self.on.cast.tomas
        with pytest.raises(Conflict):
            labels.take_back_pack(tomas, self.code, units=1, reason="patient left", at=self.on.at)
        supply(self.on, self.code)
        wanted = Pack.objects.get(code=self.code).wanted
        for units in (-1, wanted + 1):
            with pytest.raises(BadInput, match="more cannot come back"):
                labels.take_back_pack(tomas, self.code, units=units, reason="patient left", at=self.on.at)
        labels.take_back_pack(tomas, self.code, units=2, reason="patient left", at=self.on.at)
        assert (self.states()["returned"], self.states()["supplied"]) == (2, wanted - 2)
        assert TakenBack.objects.get().units == 2
        for again in (
            lambda: supply(self.on, self.code),
            lambda: labels.quarantine_pack(tomas, self.code, reason="to hold it", at=self.on.at),
        ):
            with pytest.raises(Conflict):
                again()
        assert destroy(self.on, self.code).state == "destroyed"
        assert (self.states()["destroyed"], self.states()["supplied"]) == (2, wanted - 2)
        assert DoseLine.objects.get(packs__code=self.code).committed_to != ""

    def test_quarantine_holds_for_good(self) -> None:
        with pytest.raises(Conflict):
            labels.quarantine_pack(self.on.cast.rosa, self.waiting, reason="a doubt", at=self.on.at)
        labels.quarantine_pack(self.on.cast.rosa, self.code, reason="a doubt", at=self.on.at)
        with pytest.raises(Conflict):
            supply(self.on, self.code)
        assert [one.what for one in view(self.on, self.code).remarks] == ["quarantined"]

    def test_destruction_takes_a_witness_who_is_another_and_says_so(self) -> None:
        for witness, password in (
            ("rosa.keller", PASSWORD),
            ("ada.brandt", "wrong"),
            ("nobody", PASSWORD),
        ):
            with pytest.raises(NotAllowed):
                destroy(self.on, self.code, witness=witness, password=password)
        with pytest.raises(NotAllowed):
            labels.destroy_pack(
                self.on.cast.tomas,
                self.code,
                witness="ada.brandt",
                witness_password=PASSWORD,
                reason="for the test",
                at=self.on.at,
            )
        destroy(self.on, self.code)
        remark = PackRemark.objects.get(what="destroyed")
        assert (remark.by.username, remark.witness and remark.witness.username) == ("rosa.keller", "ada.brandt")
        assert self.states()["destroyed"] == Pack.objects.get(code=self.code).wanted
        with pytest.raises(Conflict):
            destroy(self.on, self.code)

    def test_a_supplied_pack_is_not_destroyed_behind_the_patients_back(self) -> None:
        supply(self.on, self.code)
        with pytest.raises(Conflict):
            destroy(self.on, self.code)

    def test_a_destroyed_pack_frees_its_line_and_its_spares_are_not_packed_instead(self) -> None:
        destroy(self.on, self.code)
        assert DoseLine.objects.get(packs__code=self.code).committed_to == ""
        with pytest.raises(Blocked, match="no longer held"):
            labels.start_pack(
                self.on.cast.ada, zone=self.on.zones[0], container_lot=CONTAINER, line_is_clear=True, at=self.on.at
            )

    def test_a_destroyed_pack_of_a_line_in_parts_leaves_the_line_held_and_its_part_lacking(self) -> None:
        zone = Pack.objects.get(code=self.code).zone
        assert zone.line is not None
        part = Zone.objects.get(pk=zone.pk)
        part.pk, part.code, part.wanted = None, "ZN-ANOTHER", zone.wanted - 3
        part.save()
        Zone.objects.filter(pk=zone.pk).update(wanted=3)
        assert lacking_units(zone.line.code, zone.held_by) == 0
        destroy(self.on, self.code)
        assert DoseLine.objects.get(packs__code=self.code).committed_to == zone.held_by
        assert Zone.objects.get(pk=zone.pk).state == "failed"
        assert lacking_units(zone.line.code, zone.held_by) == 3

    def test_a_recall_counts_every_unit_and_names_every_pack_by_code(self) -> None:
        supply(self.on, self.code)
        lot = IngredientLot.objects.order_by("pk")[0].code
        found = recall_list(self.on.cast.otto, lot)
        order = Order.objects.select_related("patient").get(code=self.on.order)
        assert found.resin_lots == (self.on.bench.lot,)
        assert found.batches == (self.on.batch,)
        assert {(one.code, one.state, one.patient) for one in found.packs} == {
            (self.code, "supplied", order.patient.code),
            (self.waiting, "packed", order.patient.code),
        }
        assert found.with_patients == Pack.objects.get(code=self.code).wanted
        assert found.units == found.with_patients + found.in_the_house + found.gone + found.missing + found.waiting
        assert found.states == recall_list(self.on.cast.rosa, self.on.bench.lot).states
        with pytest.raises(NotAllowed):
            recall_list(self.on.cast.tomas, lot)
        with pytest.raises(BadInput, match="not recalled"):
            recall_list(self.on.cast.otto, self.code)

    def test_each_act_leaves_one_row(self) -> None:
        before = AuditEntry.objects.count()
        supply(self.on, self.code)
        rows = list(AuditEntry.objects.order_by("pk")[before:].values_list("action", "outcome", "subject"))
        assert rows == [
            ("order.screen", "done", self.on.order),
            ("pack.supply", "done", self.code),
        ]

    def test_a_pack_is_found_in_lists_and_by_nobody_elses_role(self) -> None:
        from labels import queries

        page = queries.packs(self.on.cast.tomas, state="released")
        assert [one.code for one in page.items] == [self.code]
        assert len(queries.packs(self.on.cast.tomas, limit=1).items) == 1
        after = queries.packs(self.on.cast.tomas, limit=1).next_after
        assert [one.code for one in queries.packs(self.on.cast.tomas, after=after).items] == [self.code]
        with pytest.raises(NotAllowed):
            queries.packs(self.on.cast.mira)
        with pytest.raises(BadInput, match="no state of a pack"):
            queries.packs(self.on.cast.tomas, state="eaten")
        shown = labels.release_record(self.on.cast.lena, self.waiting, at=self.on.at)
        with pytest.raises(Conflict):
            labels.reject_pack(self.on.cast.lena, self.code, reason="a doubt", pen=pen(shown), at=self.on.at)
