"""Release: every blocker alone refuses, by the service and by the door, whoever asks."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

import pytest
from pypdf import PdfReader

from dosewright.ground.act import act
from dosewright.ground.added import gathering
from dosewright.ground.documents import issue, read_file
from dosewright.ground.models import AuditEntry, Chain, Document, DocumentIssue, Grant, Outbox, PackInUse, Signature
from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotAllowed, Refused
from dosewright.ground.pure.roles import Channel, Role
from dosewright.ground.rest import DOORS
from dosewright.ground.signing import shown_digest
from dosewright.roof.api import registry
from labels import services as labels
from labels.blockers import release_blockers
from labels.models import Pack, ReleaseRecord, SecondScan
from labels.queries.release import release_view
from labels.records import AlertPart, DeviationPart, ReleaseView
from prescriptions import services as orders
from prescriptions.models import Order, OrderVersion, Patient
from printing.plates.models import PlacedUnit, PrintBatch, Zone
from printing.runs import services as runs
from printing.runs.models import RunStep
from printing.stock.models import ResinLot
from tests.cast import PASSWORD, PEOPLE, pen
from tests.labels.sharing import OnShelf, order_more, undone
from tests.packs import Shelf, labelled, packed, release

TAKEN = ("mira", "tomas", "ada", "rosa", "jonas", "lena", "otto", "nora", "paul")


def _alert(severity: str, reason: str) -> AlertPart:
    return AlertPart(code="AT-1", rule="dose-high", severity=severity, message="too much", reason=reason)


def _deviation(state: str, decision: str) -> DeviationPart:
    return DeviationPart(
        code="DW-1", kind="short", state=state, holds=False, text="", effect="", decision=decision, closed_by=""
    )


PURE: tuple[tuple[str, Callable[[ReleaseView], ReleaseView]], ...] = (
    ("order-stopped", lambda v: replace(v, order=replace(v.order, state="stopped"))),
    ("order-not-verified", lambda v: replace(v, order=replace(v.order, state="received"))),
    ("order-version", lambda v: replace(v, order=replace(v.order, version=v.order.version + 1))),
    ("alert-open", lambda v: replace(v, order=replace(v.order, alerts=(_alert("block", "said"),)))),
    ("alert-open", lambda v: replace(v, order=replace(v.order, alerts=(_alert("reason", ""),)))),
    ("resin-lot", lambda v: replace(v, resin_lot=replace(v.resin_lot, blockers=("is blocked",)))),
    ("development", lambda v: replace(v, batch=replace(v.batch, kind="development"))),
    ("batch-not-closed", lambda v: replace(v, batch=replace(v.batch, state="testing"))),
    ("zone-not-approved", lambda v: replace(v, zone=replace(v.zone, state="passed"))),
    ("units-unaccounted", lambda v: replace(v, zone=replace(v.zone, unaccounted_on_batch=1))),
    ("unit-count", lambda v: replace(v, units=v.units[1:])),
    ("unit-count", lambda v: replace(v, units=(replace(v.units[0], state="rejected"), *v.units[1:]))),
    ("deviation-open", lambda v: replace(v, deviations=(_deviation("open", ""),))),
    ("deviation-unusable", lambda v: replace(v, deviations=(_deviation("closed", "must not be used"),))),
    ("already-released", lambda v: replace(v, pack=replace(v.pack, was_released=True))),
    ("not-packed", lambda v: replace(v, pack=replace(v.pack, state="packing"))),
    ("label-count", lambda v: replace(v, label_count=replace(v.label_count, issued=2, difference=1))),
    ("label-not-one", lambda v: replace(v, label_count=replace(v.label_count, applied=0))),
    ("label-not-one", lambda v: replace(v, label_count=replace(v.label_count, applied=2))),
    ("label-outdated", lambda v: replace(v, label_difference="the label's text")),
    ("second-scan-missing", lambda v: replace(v, second_scan=None)),
    ("second-scan-differs", lambda v: replace(v, second_scan=replace(v.second_scan, zone="ZN-OTHER"))),
    ("second-scan-differs", lambda v: replace(v, second_scan=replace(v.second_scan, container="OTHER"))),
    ("second-scan-differs", lambda v: replace(v, labels=(replace(v.labels[0], code="DC-OTHER"),))),
    ("use-by-short", lambda v: replace(v, line=replace(v.line, ends_on=v.pack.use_by_date + timedelta(days=1)))),
    ("use-by-passed", lambda v: replace(v, pack=replace(v.pack, use_by_date=date(2026, 3, 20)))),
    ("law", lambda v: replace(v, law=replace(v.law, why_not="no law pack is in use"))),
    *(
        ("took-part", lambda v, part=part: replace(v, people=replace(v.people, **{part: ("jonas.weber",)})))
        for part in ("makers", "testers", "packers", "closers")
    ),
)


def _update(model: type, **values: object) -> None:
    model._default_manager.update(**values)  # type: ignore[attr-defined]


def _stop(on: Shelf, code: str) -> None:
    orders.stop_order(on.cast.rosa, on.order, reason="therapy changed", at=on.at)


def _allergies_unknown(on: Shelf, code: str) -> None:
    _update(Patient, allergies_recorded="not recorded")


def _deviation_open(on: Shelf, code: str) -> None:
    runs.open_deviation(
        on.cast.ada, kind="other", text="a lamp failed", effect="none seen", batch=on.batch, holds=False, at=on.at
    )


def _one_more_label(on: Shelf, code: str) -> None:
    first = Document.objects.get(kind="label", state="original", subject=code)
    first.pk, first.code, first.number = None, "DC-34679AC7", "00099"
    with act(on.cast.tomas, "label.issue", at=on.at, subject=code) as doing:
        first.save(force_insert=True)
        issue(doing, first, DocumentIssue.ISSUED)


def _label_spoiled(on: Shelf, code: str) -> None:
    with act(on.cast.tomas, "label.account", at=on.at, subject=code) as doing:
        issue(doing, Document.objects.get(kind="label", subject=code), DocumentIssue.SPOILED)


def _renamed(on: Shelf, code: str) -> None:
    _update(Patient, family_name="Quillfeather-Ost")


def _other_law(on: Shelf, code: str) -> None:
    signature = Signature.objects.filter(action="jurisdiction.sign").get()
    with gathering():
        PackInUse.objects.create(
            site=on.cast.site, pack="demo", pack_version="2026.1", pack_digest="0" * 64, signature=signature, at=on.at
        )


def _jonas_made(on: Shelf, code: str) -> None:
    batch = PrintBatch.objects.get(code=on.batch)
    for name in TAKEN:
        with gathering():
            RunStep.objects.create(
                batch=batch, kind="removal", name="raft", by=on.cast.users[_username(name)], at=on.at
            )


def _username(given: str) -> str:
    return next(one[0] for one in PEOPLE if one[0].startswith(given))


CAUSES: tuple[tuple[str, Callable[[Shelf, str], object]], ...] = (
    ("order-stopped", _stop),
    ("order-not-verified", lambda on, code: _update(Order, state="queried")),
    ("order-not-verified", _allergies_unknown),
    ("order-not-verified", order_more),
    ("resin-lot", lambda on, code: _update(ResinLot, state="blocked")),
    ("batch-not-closed", lambda on, code: _update(PrintBatch, state="testing")),
    ("development", lambda on, code: _update(PrintBatch, kind="development")),
    ("zone-not-approved", lambda on, code: _update(Zone, state="passed")),
    ("units-unaccounted", lambda on, code: PlacedUnit.objects.filter(state="surplus").update(state="unaccounted")),
    ("unit-count", lambda on, code: PlacedUnit.objects.filter(state="packed").update(state="rejected")),
    ("deviation-open", _deviation_open),
    ("not-packed", lambda on, code: Pack.objects.filter(code=code).update(state="returned")),
    ("label-count", _one_more_label),
    ("label-not-one", _label_spoiled),
    ("label-outdated", _renamed),
    ("use-by-short", lambda on, code: _update(Pack, use_by_date=date(2026, 3, 9))),
    ("law", _other_law),
)


class TestRelease(OnShelf):
    """One packed pack that nothing stands against."""

    code: str
    bare: str

    @classmethod
    def build(cls) -> None:
        cls.code = packed(cls.on, 0)
        cls.bare = labelled(cls.on, 1)

    def shown(self, code: str = "") -> ReleaseView:
        return labels.release_record(self.on.cast.jonas, code or self.code, at=self.on.at)

    def test_nothing_stands_against_it_and_each_blocker_is_found_alone(self) -> None:
        shown = self.shown()
        assert shown.blockers == ()
        for code, change in PURE:
            changed = change(shown)
            assert changed != shown
            found = release_blockers(changed, today=date(2026, 3, 21), releaser="jonas.weber")
            assert {one.code for one in found} == {code}, code
            assert all(one.text for one in found)
        assert {code for code, _ in CAUSES} <= {code for code, _ in PURE}

    def test_every_role_with_every_blocker_is_refused_by_service_and_door(self) -> None:
        registry.load()
        door = DOORS["pack/release"]()
        for rule, cause in CAUSES:
            with undone():
                cause(self.on, self.code)
                shown = release_view(Pack.objects.get(code=self.code), releaser="jonas.weber", at=self.on.at)
                for given in TAKEN:
                    actor = getattr(self.on.cast, given)
                    with pytest.raises(Refused) as service:
                        labels.release_pack(actor, self.code, scanned=self.code, pen=pen(shown), at=self.on.at)
                    raw = {"scanned": self.code, "password": PASSWORD, "shown_digest": shown_digest(shown)}
                    with pytest.raises(Refused) as by_door:
                        door.take(actor, self.code, raw, at=self.on.at)
                    if given == "jonas":
                        for refused in (service, by_door):
                            assert isinstance(refused.value, Blocked), rule
                            assert rule in {one.rule for one in refused.value.refusals}, rule
                assert Pack.objects.get(code=self.code).state in {"packed", "returned"}
                assert not ReleaseRecord.objects.exists()
                assert not Document.objects.filter(kind="certificate").exists()
        assert self.shown().blockers == ()

    def test_without_a_blocker_only_a_pharmacist_who_took_no_part_releases(self) -> None:
        for given in TAKEN:
            actor = getattr(self.on.cast, given)
            with undone():
                shown = labels.release_record(actor, self.code, at=self.on.at)
                if given in {"rosa", "jonas", "lena"}:
                    release(self.on, self.code, by=given)
                    assert Pack.objects.get(code=self.code).state == "released"
                else:
                    with pytest.raises(NotAllowed):
                        labels.release_pack(actor, self.code, scanned=self.code, pen=pen(shown), at=self.on.at)
                    assert Pack.objects.get(code=self.code).state == "packed"

    def test_whoever_made_tested_packed_or_closed_may_not_release(self) -> None:
        with undone():
            _jonas_made(self.on, self.code)
            assert {one.code for one in self.shown().blockers} == {"took-part"}
            with pytest.raises(NotAllowed, match="other person than the maker"):
                release(self.on, self.code)
        with undone():
            Grant.objects.create(user=self.on.cast.users["ada.brandt"], role=Role.PHARMACIST, given_at=self.on.at)
            with pytest.raises(NotAllowed, match="maker"):
                release(self.on, self.code, by="ada")
        with undone():
            opened = runs.open_deviation(
                self.on.cast.ada,
                kind="other",
                text="a lamp failed",
                effect="none seen",
                batch=self.on.batch,
                at=self.on.at,
            )
            shown = runs.shown_for_close(self.on.cast.jonas, opened.code)
            runs.close_deviation(
                self.on.cast.jonas,
                opened.code,
                investigation="the lamp was replaced",
                action_taken="a new lamp stands",
                decision="may be used",
                pen=pen(shown),
                at=self.on.at,
            )
            with pytest.raises(NotAllowed, match="closer"):
                release(self.on, self.code)
            release(self.on, self.code, by="lena")

    def test_a_pack_without_second_scan_is_refused_even_when_its_state_lies(self) -> None:
        with undone():
            Pack.objects.filter(code=self.bare).update(state="packed")
            assert {one.code for one in self.shown(self.bare).blockers} == {"second-scan-missing"}
            with pytest.raises(Blocked):
                release(self.on, self.bare)
            assert not SecondScan.objects.filter(pack__code=self.bare).exists()

    def test_it_is_not_released_after_its_last_day(self) -> None:
        late = self.on.at + timedelta(days=61)
        shown = labels.release_record(self.on.cast.jonas, self.code, at=late)
        assert "use-by-passed" in {one.code for one in shown.blockers}
        with pytest.raises(Blocked):
            labels.release_pack(self.on.cast.jonas, self.code, scanned=self.code, pen=pen(shown), at=late)

    def test_another_pack_scanned_is_refused(self) -> None:
        with pytest.raises(BadInput, match="another pack"):
            release(self.on, self.code, scanned_code=self.bare)
        with pytest.raises(BadInput, match="characters missing"):
            release(self.on, self.code, scanned_code=self.code[:-1])

    def test_no_signature_without_password_by_token_or_under_something_else(self) -> None:
        cast, shown = self.on.cast, self.shown()
        for actor, given in (
            (cast.jonas, pen(shown, password="wrong")),
            (cast.act("jonas.weber", Channel.TOKEN), pen(shown)),
        ):
            with pytest.raises(NotAllowed):
                labels.release_pack(actor, self.code, scanned=self.code, pen=given, at=self.on.at)
        with pytest.raises(Conflict, match="changed since"):
            labels.release_pack(cast.jonas, self.code, scanned=self.code, pen=pen({"other": 1}), at=self.on.at)
        assert Pack.objects.get(code=self.code).state == "packed"

    def test_what_is_released_is_kept_as_shown_and_certified(self) -> None:
        shown, before = self.shown(), Chain.objects.get(site=self.on.cast.site).head
        answer = release(self.on, self.code)
        record = ReleaseRecord.objects.get(pack__code=self.code)
        assert record.text == canonical_text(shown) == record.signature.shown_text
        assert record.digest == digest_of(record.text)
        assert answer.state == "released"
        document = Document.objects.get(code=answer.document)
        kept = json.loads(document.content_text)
        head = kept["chain_head"]
        assert head != before
        assert head in set(AuditEntry.objects.values_list("digest", flat=True))
        text = _text_of(document)
        for said in (
            document.code,
            self.code,
            self.on.order,
            self.on.batch,
            self.on.zones[0],
            "Jonas Weber",
            "TV-NAMED",
            "demo 2026.1",
            "not a content-uniformity result",
            "Flammable solvent",
            "mean mass",
            head,
        ):
            assert said in text, said
        assert "outside" not in text
        assert "Quillfeather" not in text

    def test_it_is_released_once(self) -> None:
        release(self.on, self.code)
        with pytest.raises(Blocked) as refused:
            release(self.on, self.code)
        assert {one.rule for one in refused.value.refusals} == {"already-released"}
        assert Document.objects.filter(kind="certificate", state="original").count() == 1

    def test_a_rejected_pack_is_signed_quarantined_and_never_released(self) -> None:
        cast = self.on.cast
        with pytest.raises(BadInput):
            labels.reject_pack(cast.jonas, self.code, reason="", pen=pen(self.shown()), at=self.on.at)
        labels.reject_pack(cast.jonas, self.code, reason="the cap is cracked", pen=pen(self.shown()), at=self.on.at)
        assert Pack.objects.get(code=self.code).state == "quarantined"
        assert ReleaseRecord.objects.get().outcome == "rejected"
        with pytest.raises(Blocked):
            release(self.on, self.code, by="lena")

    def test_a_draft_certificate_is_marked_and_unsigned(self) -> None:
        document = labels.draft_certificate(self.on.cast.rosa, self.code, at=self.on.at)
        assert document.state == "draft"
        text = _text_of(document)
        assert "DRAFT" in text
        assert "Jonas Weber" not in text

    def test_refusals_are_recorded_and_hold_no_name(self) -> None:
        with undone():
            _renamed(self.on, self.code)
            with pytest.raises(Blocked):
                release(self.on, self.code)
            last = AuditEntry.objects.order_by("pk").last()
            assert last is not None
            assert (last.action, last.outcome) == ("pack.release", "refused")
        release(self.on, self.code)
        written = [
            *AuditEntry.objects.values_list("text", flat=True),
            *Outbox.objects.values_list("payload", flat=True),
            *Document.objects.values_list("content_text", flat=True),
            *ReleaseRecord.objects.values_list("text", flat=True),
            *Signature.objects.filter(subject_kind__in=("pack", "zone")).values_list("shown_text", flat=True),
        ]
        assert len(written) > 50
        for name in ("Quillfeather", "Odalys", "D-1001", "2019-05-04", "4 May 2019"):
            assert not [text for text in written if name in text], name
        assert OrderVersion.objects.filter(text__contains="hydrocortisone").exists()


def _text_of(document: Document) -> str:
    from io import BytesIO

    pages = PdfReader(BytesIO(read_file(document))).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())
