"""From a passed zone to a closed pack: approved first, counted, labelled under count, scanned by another person."""

from __future__ import annotations

import pytest

from dosewright.ground.added import gathering
from dosewright.ground.documents import read_file
from dosewright.ground.models import Document, PackInUse, ReadEntry
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotAllowed, Refused, SetupMissing
from dosewright.ground.rest import DOORS
from dosewright.roof.api import registry
from labels import services as labels
from labels.models import Pack, PackUnit
from prescriptions import services as orders
from prescriptions.models import DoseLine, Order
from printing.formulary.models import Formulation
from printing.plates.models import PlacedUnit, PrintBatch, Zone
from printing.plates.queries import zone_facts
from printing.runs import services as runs
from printing.stock.models import IngredientLot
from tests.cast import pen
from tests.labels.sharing import OnShelf, undone
from tests.packs import (
    CONTAINER,
    applied_label,
    approved_zone,
    filled,
    labelled,
    law_signed,
    packed,
    scanned,
    started,
    view,
)


class TestPacking(OnShelf):
    """A closed batch whose zones passed."""

    def start(self, zone: str, **changes: object) -> labels.PackAnswer:
        facts = {"container_lot": CONTAINER, "line_is_clear": True} | changes
        return labels.start_pack(self.on.cast.tomas, zone=zone, at=self.on.at, **facts)  # type: ignore[arg-type]

    def rules(self, refused: pytest.ExceptionInfo[Refused]) -> set[str]:
        return {one.rule for one in refused.value.refusals}

    # ---- approval -------------------------------------------------------------------------------------------

    def test_nothing_is_packed_or_labelled_before_approval(self) -> None:
        zone = self.on.zones[0]
        with pytest.raises(Blocked, match="is passed"):
            self.start(zone)
        code = started(self.on, 0)
        Zone.objects.filter(code=zone).update(state="passed")
        with pytest.raises(Blocked, match="is passed"):
            labels.fill_pack(self.on.cast.tomas, code, zone=zone, count=view(self.on, code).wanted, at=self.on.at)
        Zone.objects.filter(code=zone).update(state="approved to pack")
        labels.fill_pack(self.on.cast.tomas, code, zone=zone, count=view(self.on, code).wanted, at=self.on.at)
        Zone.objects.filter(code=zone).update(state="passed")
        registry.load()
        for door in (lambda: labels.issue_label(self.on.cast.tomas, code, at=self.on.at), lambda: self.by_door(code)):
            with pytest.raises(Blocked) as refused:
                door()
            assert self.rules(refused) == {"zone-not-approved"}
        assert not Document.objects.filter(kind="label", state="original").exists()
        draft = labels.draft_label(self.on.cast.tomas, code, at=self.on.at)
        assert (draft.state, draft.number[:1]) == ("draft", "D")

    def by_door(self, code: str) -> object:
        return DOORS["pack/issue-label"]().take(self.on.cast.tomas, code, {}, at=self.on.at)

    def test_only_a_passed_zone_of_a_finished_batch_with_nothing_open_is_approved(self) -> None:
        causes = (
            (
                "order-not-verified",
                lambda: orders.stop_order(self.on.cast.rosa, self.on.order, reason="no more", at=self.on.at),
            ),
            ("batch-state", lambda: PrintBatch.objects.update(state="finishing")),
            ("unaccounted", lambda: PlacedUnit.objects.filter(state="surplus").update(state="unaccounted")),
            ("lot", lambda: IngredientLot.objects.update(state="blocked")),
            ("deviation", self.open_deviation),
            ("order-version", self.amended),
        )
        for rule, cause in causes:
            with undone():
                cause()
                with pytest.raises(Refused) as refused:
                    approved_zone(self.on)
                assert rule in self.rules(refused), (rule, self.rules(refused))
                assert Zone.objects.get(code=self.on.zones[0]).state == "passed"
        with undone():
            Zone.objects.update(state="failed")
            with pytest.raises(Conflict):
                approved_zone(self.on)
        test_zone = Zone.objects.filter(line=None).order_by("pk")[0]
        with pytest.raises(BadInput, match="never for a patient"):
            labels.shown_for_approve_to_pack(self.on.cast.rosa, test_zone.code, at=self.on.at)

    def open_deviation(self) -> object:
        return runs.open_deviation(
            self.on.cast.ada,
            kind="other",
            text="a lamp failed",
            effect="none seen",
            zones=[self.on.zones[0]],
            at=self.on.at,
        )

    def amended(self) -> None:
        from prescriptions.models import OrderVersion

        version = OrderVersion.objects.get(order__code=self.on.order)
        version.pk, version.number = None, 2
        with gathering():
            version.save(force_insert=True)
        Order.objects.update(current=2)

    def test_only_a_pharmacist_approves_and_signs_what_was_shown(self) -> None:
        zone, cast = self.on.zones[0], self.on.cast
        shown = labels.shown_for_approve_to_pack(cast.rosa, zone, at=self.on.at)
        for actor in (cast.mira, cast.tomas, cast.otto, cast.nora, cast.paul):
            with pytest.raises(NotAllowed):
                labels.approve_to_pack(actor, zone, pen=pen(shown), at=self.on.at)
        with pytest.raises(Conflict):
            labels.approve_to_pack(cast.rosa, zone, pen=pen({"other": 1}), at=self.on.at)
        assert labels.approve_to_pack(cast.rosa, zone, pen=pen(shown), at=self.on.at) == "approved to pack"
        with pytest.raises(Conflict):
            approved_zone(self.on)

    # ---- start ------------------------------------------------------------------------------------------------

    def test_a_pack_is_started_on_a_cleared_bench_once_and_one_at_a_time(self) -> None:
        one, other = approved_zone(self.on, 0), approved_zone(self.on, 1)
        with pytest.raises(BadInput, match="another pack may lie"):
            self.start(one, line_is_clear=False)
        with pytest.raises(BadInput, match="container"):
            self.start(one, container_lot="  ")
        self.start(one)
        with pytest.raises(Conflict, match="has a pack already"):
            labels.start_pack(self.on.cast.ada, zone=one, container_lot=CONTAINER, line_is_clear=True, at=self.on.at)
        with pytest.raises(Conflict, match="one zone at a time"):
            self.start(other)

    def test_use_by_is_the_least_and_covers_the_course(self) -> None:
        zone = approved_zone(self.on)
        code = self.start(zone).code
        pack = Pack.objects.get(code=code)
        # 60 days of the formulation's study after the day of making, 2 March 2026 (calendar)
        assert (pack.use_by_date.isoformat(), pack.use_by_limit) == ("2026-05-01", "shelf life by study")
        Pack.objects.all().delete()
        with undone():
            lot = IngredientLot.objects.order_by("pk").first()
            assert lot is not None
            IngredientLot.objects.filter(pk=lot.pk).update(expires_on="2026-04-02")
            pack = Pack.objects.get(code=self.start(zone).code)
            assert (pack.use_by_date.isoformat(), pack.use_by_limit) == ("2026-04-02", f"expiry of {lot.code}")
        with undone():
            Formulation.objects.update(shelf_life_days=None)
            pack = Pack.objects.get(code=self.start(zone).code)
            # without a study the site's 14 days and the law's strictest 14 days bind alike
            assert pack.use_by_date.isoformat() == "2026-03-16"
        with undone():
            Formulation.objects.update(shelf_life_days=7)
            with pytest.raises(Blocked, match="the course outlasts the product"):
                self.start(zone)

    def test_without_law_pack_or_order_nothing_starts(self) -> None:
        zone = approved_zone(self.on)
        with undone():
            Order.objects.update(state="queried")
            with pytest.raises(Blocked, match="is queried"):
                self.start(zone)
        with undone():
            DoseLine.objects.update(committed_to="PN-OTHER")
            with pytest.raises(Blocked, match="no longer held"):
                self.start(zone)
        assert PackInUse.objects.count() == 1

    # ---- fill -------------------------------------------------------------------------------------------------

    def test_the_wanted_units_are_filled_and_spares_stay(self) -> None:
        code = filled(self.on)
        pack = Pack.objects.get(code=code)
        zone = zone_facts(self.on.zones[0], site_id=self.on.cast.site.pk)
        assert pack.contents.count() == pack.wanted == zone.wanted
        assert zone.counts == {"packed": zone.wanted, "surplus": zone.spares}
        with pytest.raises(Conflict, match="filled already"):
            labels.fill_pack(self.on.cast.tomas, code, zone=zone.code, count=zone.wanted, at=self.on.at)

    def test_another_count_or_zone_or_too_few_units_are_refused(self) -> None:
        code = started(self.on)
        wanted, tomas = view(self.on, code).wanted, self.on.cast.tomas
        for count in (0, wanted - 1, wanted + 1):
            with pytest.raises(BadInput, match="is not the number"):
                labels.fill_pack(tomas, code, zone=self.on.zones[0], count=count, at=self.on.at)
        with pytest.raises(BadInput, match="is not the zone of this pack"):
            labels.fill_pack(tomas, code, zone=self.on.zones[1], count=wanted, at=self.on.at)
        with undone():
            PlacedUnit.objects.filter(zone__code=self.on.zones[0], number=1).update(state="rejected")
            with pytest.raises(Blocked, match="too few good units"):
                labels.fill_pack(tomas, code, zone=self.on.zones[0], count=wanted, at=self.on.at)
        assert not PackUnit.objects.exists()

    # ---- labels -----------------------------------------------------------------------------------------------

    def test_labels_are_numbered_issued_and_accounted_for(self) -> None:
        code, tomas = filled(self.on), self.on.cast.tomas
        first = labels.issue_label(tomas, code, at=self.on.at).document
        with pytest.raises(BadInput, match="this original is issued"):
            labels.issue_label(tomas, code, at=self.on.at)
        with pytest.raises(BadInput, match="says why"):
            labels.account_label(tomas, code, label=first, became="spoiled", at=self.on.at)
        with pytest.raises(BadInput, match="nothing that becomes"):
            labels.account_label(tomas, code, label=first, became="eaten", at=self.on.at)
        labels.account_label(tomas, code, label=first, became="applied", at=self.on.at)
        with pytest.raises(Conflict):
            labels.account_label(tomas, code, label=first, became="applied", at=self.on.at)
        with pytest.raises(Conflict):
            labels.account_label(tomas, code, label=first, became="returned", reason="not needed", at=self.on.at)
        labels.account_label(tomas, code, label=first, became="spoiled", reason="it was crooked", at=self.on.at)
        second = labels.issue_label(tomas, code, at=self.on.at).document
        numbers = [Document.objects.get(code=one).number for one in (first, second)]
        assert numbers == ["00001", "00002"]
        labels.account_label(tomas, code, label=second, became="returned", reason="wrong stock", at=self.on.at)
        third = labels.issue_label(tomas, code, at=self.on.at).document
        count = view(self.on, code).label_count
        assert (count.issued, count.spoiled, count.returned, count.applied, count.difference) == (3, 1, 1, 0, 1)
        labels.account_label(tomas, code, label=third, became="applied", at=self.on.at)
        assert view(self.on, code).label_count.difference == 0

    def test_a_label_of_another_pack_is_refused(self) -> None:
        other = packed(self.on, 1)
        code = filled(self.on, 0)
        with pytest.raises(BadInput, match="not a label of this pack"):
            labels.account_label(
                self.on.cast.tomas, code, label=applied_label(self.on, other), became="applied", at=self.on.at
            )

    def test_an_empty_pack_and_a_stopped_order_get_no_label(self) -> None:
        code = started(self.on)
        with pytest.raises(BadInput, match="is empty"):
            labels.issue_label(self.on.cast.tomas, code, at=self.on.at)
        labels.fill_pack(
            self.on.cast.tomas, code, zone=self.on.zones[0], count=view(self.on, code).wanted, at=self.on.at
        )
        orders.stop_order(self.on.cast.rosa, self.on.order, reason="therapy changed", at=self.on.at)
        with pytest.raises(Blocked, match="is stopped"):
            labels.issue_label(self.on.cast.tomas, code, at=self.on.at)

    def test_each_label_is_a_recorded_look_at_the_patient(self) -> None:
        before = ReadEntry.objects.count()
        code = labelled(self.on)
        looks = ReadEntry.objects.order_by("pk")[before:]
        assert [(one.reader.username, one.view) for one in looks] == [("tomas.lind", "label original")]
        document = Document.objects.get(code=applied_label(self.on, code))
        assert read_file(document).startswith(b"%PDF")

    # ---- second scan and closing ------------------------------------------------------------------------------

    def test_the_second_person_is_another_and_scans_this_pack(self) -> None:
        other = packed(self.on, 1)
        code = labelled(self.on, 0)
        mine, ada = applied_label(self.on, code), self.on.cast.ada
        good = {"zone": self.on.zones[0], "container_lot": CONTAINER, "label": mine}
        with pytest.raises(NotAllowed, match="packer"):
            labels.second_scan(self.on.cast.tomas, code, at=self.on.at, **good)
        for wrong, what in (
            ({"zone": self.on.zones[1]}, "is not the zone of this pack"),
            ({"container_lot": "BOTTLE-78"}, "is not the container of this pack"),
            ({"label": applied_label(self.on, other)}, "is not a label of this pack"),
        ):
            with pytest.raises(BadInput, match=what):
                labels.second_scan(ada, code, at=self.on.at, **(good | wrong))
        labels.second_scan(ada, code, at=self.on.at, **good)
        with pytest.raises(Conflict, match="already"):
            labels.second_scan(self.on.cast.lena, code, at=self.on.at, **good)

    def test_a_label_that_is_not_applied_is_no_second_scan(self) -> None:
        code = filled(self.on)
        label = labels.issue_label(self.on.cast.tomas, code, at=self.on.at).document
        with pytest.raises(BadInput, match="is issued, not applied"):
            labels.second_scan(
                self.on.cast.ada, code, zone=self.on.zones[0], container_lot=CONTAINER, label=label, at=self.on.at
            )

    def test_a_pack_is_closed_when_nothing_is_missing(self) -> None:
        code, tomas = started(self.on), self.on.cast.tomas
        with pytest.raises(Blocked) as refused:
            labels.close_pack(tomas, code, at=self.on.at)
        assert self.rules(refused) == {"count", "label-not-one", "second-scan"}
        labels.fill_pack(tomas, code, zone=self.on.zones[0], count=view(self.on, code).wanted, at=self.on.at)
        label = labels.issue_label(tomas, code, at=self.on.at).document
        with pytest.raises(Blocked) as refused:
            labels.close_pack(tomas, code, at=self.on.at)
        assert self.rules(refused) == {"label-count", "label-not-one", "second-scan"}
        labels.account_label(tomas, code, label=label, became="applied", at=self.on.at)
        with pytest.raises(Blocked) as refused:
            labels.close_pack(tomas, code, at=self.on.at)
        assert self.rules(refused) == {"second-scan"}
        labels.second_scan(
            self.on.cast.ada, code, zone=self.on.zones[0], container_lot=CONTAINER, label=label, at=self.on.at
        )
        assert labels.close_pack(tomas, code, at=self.on.at).state == "packed"
        for again in (
            lambda: labels.close_pack(tomas, code, at=self.on.at),
            lambda: labels.issue_label(tomas, code, at=self.on.at),
            lambda: labels.account_label(tomas, code, label=label, became="spoiled", reason="torn off", at=self.on.at),
        ):
            with pytest.raises(Conflict):
                again()

    def test_a_label_changed_after_the_second_scan_is_noticed(self) -> None:
        code, tomas = scanned(self.on), self.on.cast.tomas
        first = applied_label(self.on, code)
        labels.account_label(tomas, code, label=first, became="spoiled", reason="it came off", at=self.on.at)
        second = labels.issue_label(tomas, code, at=self.on.at).document
        labels.account_label(tomas, code, label=second, became="applied", at=self.on.at)
        with pytest.raises(Blocked) as refused:
            labels.close_pack(tomas, code, at=self.on.at)
        assert self.rules(refused) == {"other-label"}


class TestWithoutLaw(OnShelf):
    """A site whose pharmacists have put no law pack into use."""

    shelf_facts = {"law": False}

    def test_nothing_starts_before_a_law_pack_is_in_use(self) -> None:
        with pytest.raises(SetupMissing, match="no law pack is in use"):
            started(self.on)
        law_signed(self.on.cast, at=self.on.at)
        zone = self.on.zones[0]
        answer = labels.start_pack(
            self.on.cast.tomas, zone=zone, container_lot=CONTAINER, line_is_clear=True, at=self.on.at
        )
        assert answer.state == "packing"
