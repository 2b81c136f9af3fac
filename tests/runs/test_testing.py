"""One zone at a time: counted, weighed, looked at, assayed, judged by what is on record and nothing else."""

from __future__ import annotations

import json
from datetime import datetime
from decimal import Decimal

import pytest

from dosewright.ground.pure.canonical import digest_of
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotAllowed, NotThere
from prescriptions.queries import order_facts
from printing.plates.content import ZoneFacts
from printing.plates.queries import batch_facts, zone_facts
from printing.runs import queries, services
from printing.runs.models import Measurement, Verdict
from printing.runs.queries import open_deviations, people_of_batch, zone_evidence
from printing.runs.services.judging import VerdictAnswer
from tests.batches import a_balance, run_to, tenths, undone, weighed_zone
from tests.cast import PASSWORD, pen
from tests.runs.conftest import Plate

pytestmark = pytest.mark.django_db


class Testing:
    """A batch whose finishing has ended, its balance and the moment."""

    __test__ = False

    def __init__(self, plate: Plate, state: str = "testing") -> None:
        self.cast, self.batch, self.order = plate.cast, plate.batch, plate.order
        self.now: datetime = run_to(plate.cast, plate.batch, state)
        self.balance = a_balance(plate.cast)

    @property
    def zones(self) -> tuple[ZoneFacts, ...]:
        return batch_facts(self.batch, site_id=self.cast.site.pk).zones

    @property
    def patient_zones(self) -> list[ZoneFacts]:
        return [one for one in self.zones if one.line is not None]

    def zone(self, code: str) -> ZoneFacts:
        return zone_facts(code, site_id=self.cast.site.pk)

    def evidence(self, code: str):  # type: ignore[no-untyped-def]
        return zone_evidence(code, site_id=self.cast.site.pk)

    def weigh(self, zone: ZoneFacts, **masses: str) -> tuple[str, ...]:
        """Break off, weigh and look at one zone; masses by "n5" and the like."""
        changed = {int(name[1:]): value for name, value in masses.items()}
        return weighed_zone(self.cast, zone.code, self.balance, masses=changed, at=self.now)

    def judge(self, zone: ZoneFacts) -> VerdictAnswer:
        return services.judge_zone(self.cast.ada, zone.code, at=self.now)

    def close(self, code: str, decision: str, by: str = "lena.fuchs") -> None:
        closer = self.cast.act(by)
        services.close_deviation(
            closer,
            code,
            investigation="looked into by two people, invented for the test",
            action_taken="counted and weighed again, invented for the test",
            decision=decision,
            pen=pen(services.shown_for_close(closer, code)),
            at=self.now,
        )


@pytest.fixture
def testing(plate: Plate) -> Testing:
    """A batch whose finishing has ended."""
    return Testing(plate)


@pytest.fixture
def measured(plate: Plate) -> Testing:
    """A batch of which everything is measured and as predicted."""
    return Testing(plate, "tested")


def masses(zone: ZoneFacts) -> list[str]:
    return [tenths(one.predicted_mass_ug) for one in zone.units]


def test_one_zone_is_broken_off_at_a_time_and_in_its_order(testing: Testing) -> None:
    first, second, *_ = testing.zones
    with pytest.raises(Blocked, match="not the next zone"):
        services.break_off(testing.cast.ada, second.code, counted=len(second.units), at=testing.now)
    services.break_off(testing.cast.ada, first.code, counted=len(first.units), at=testing.now)
    with pytest.raises(Conflict, match="broken off already"):
        services.break_off(testing.cast.ada, first.code, counted=len(first.units), at=testing.now)
    with pytest.raises(Blocked, match="one zone at a time"):
        services.break_off(testing.cast.ada, second.code, counted=len(second.units), at=testing.now)
    services.record_masses(
        testing.cast.ada, first.code, masses_mg=masses(first), balance=testing.balance, at=testing.now
    )
    services.break_off(testing.cast.ada, second.code, counted=len(second.units), at=testing.now)


def test_a_zone_on_its_raft_is_not_measured(testing: Testing) -> None:
    first = testing.zones[0]
    for attempt in (
        lambda: services.record_masses(
            testing.cast.ada, first.code, masses_mg=masses(first), balance=testing.balance, at=testing.now
        ),
        lambda: services.record_appearance(testing.cast.ada, first.code, defects={}, at=testing.now),
        lambda: services.reject_unit(testing.cast.ada, first.units[0].code, reason="chipped", at=testing.now),
    ):
        with pytest.raises(Conflict, match="on its raft"):
            attempt()


def test_masses_that_cannot_be_are_refused_whole(testing: Testing) -> None:
    zone = testing.patient_zones[0]
    for one in testing.zones:
        if one.removal_order < zone.removal_order:
            testing.weigh(one)
    services.break_off(testing.cast.ada, zone.code, counted=len(zone.units), at=testing.now)
    right = masses(zone)
    tenfold = f"{Decimal(right[0]) * 10}"
    for wrong in ("0", "-1", "NaN", "Infinity", "1e400", "", "abc", tenfold, "0.1", "76.25", "1234567890123"):
        with pytest.raises(BadInput) as refused:
            services.record_masses(
                testing.cast.ada, zone.code, masses_mg=[wrong, *right[1:]], balance=testing.balance, at=testing.now
            )
        assert refused.value.refusals[0].field == "number 1"
    for count in (right[1:], [*right, right[0]], []):
        with pytest.raises(BadInput, match="one mass for each unit"):
            services.record_masses(
                testing.cast.ada, zone.code, masses_mg=count, balance=testing.balance, at=testing.now
            )
    with pytest.raises(NotThere):
        services.record_masses(testing.cast.ada, zone.code, masses_mg=right, balance="EQ-AAAAA", at=testing.now)
    assert not Measurement.objects.filter(kind="mass", zone__code=zone.code).exists()
    services.record_masses(testing.cast.ada, zone.code, masses_mg=right, balance=testing.balance, at=testing.now)
    with pytest.raises(BadInput, match="one mass for each unit"):
        services.record_masses(testing.cast.ada, zone.code, masses_mg=right, balance=testing.balance, at=testing.now)


def test_a_unit_that_weighs_like_a_neighbours_holds_both_zones(testing: Testing) -> None:
    heavy, light = sorted(testing.patient_zones, key=lambda one: -one.units[0].predicted_mass_ug)
    opened: list[str] = []
    for zone in testing.zones:
        stray = {"n2": tenths(heavy.units[0].predicted_mass_ug)} if zone.code == light.code else {}
        opened += testing.weigh(zone, **stray)
    held = open_deviations(site_id=testing.cast.site.pk, batch=testing.batch)
    assert {one.kind for one in held} == {"possible mix-up"}
    assert sorted(one.code for one in held) == sorted(opened)
    assert all(light.code in one.zones for one in held)
    assert any(heavy.code in one.zones or len(one.zones) == 2 for one in held)
    with pytest.raises(Blocked):
        testing.judge(light)
    kinds = {one.kind for one in testing.evidence(light.code).findings if one.fails}
    assert "possible mix-up" in kinds


def test_a_count_at_break_off_that_differs_holds_both_zones(testing: Testing) -> None:
    """27 + 15 where 28 + 14 are: here counted when broken off."""
    short, over = sorted(testing.patient_zones, key=lambda one: one.removal_order)
    for zone in testing.zones:
        if zone.code == short.code:
            with pytest.raises(BadInput, match="must be named"):
                services.break_off(testing.cast.ada, zone.code, counted=len(zone.units) - 1, at=testing.now)
            services.break_off(testing.cast.ada, zone.code, counted=len(zone.units) - 1, missing=[1], at=testing.now)
            values = masses(zone)[1:]
            services.record_masses(
                testing.cast.ada, zone.code, masses_mg=values, balance=testing.balance, at=testing.now
            )
        elif zone.code == over.code:
            services.break_off(testing.cast.ada, zone.code, counted=len(zone.units) + 1, at=testing.now)
            break
        else:
            testing.weigh(zone)
    mixed = [
        one
        for one in open_deviations(site_id=testing.cast.site.pk, batch=testing.batch)
        if one.kind == "possible mix-up"
    ]
    assert [set(one.zones) for one in mixed] == [{short.code, over.code}]
    assert testing.zone(short.code).counts == {"unaccounted": 1, "printed": len(short.units) - 1}
    assert testing.zone(over.code).counts == {"printed": len(over.units)}


def test_appearance_rejects_major_and_critical_defects(testing: Testing) -> None:
    zone = testing.zones[0]
    services.break_off(testing.cast.ada, zone.code, counted=len(zone.units), at=testing.now)
    with pytest.raises(BadInput, match="no class"):
        services.record_appearance(testing.cast.ada, zone.code, defects={1: "ugly"}, at=testing.now)
    with pytest.raises(BadInput, match="no number"):
        services.record_appearance(testing.cast.ada, zone.code, defects={99: "minor"}, at=testing.now)
    services.record_appearance(testing.cast.ada, zone.code, defects={1: "critical", 2: "minor"}, at=testing.now)
    states = {one.number: one.state for one in testing.zone(zone.code).units}
    assert (states[1], states[2]) == ("rejected", "printed")
    with pytest.raises(Conflict, match="looked at already"):
        services.record_appearance(testing.cast.ada, zone.code, defects={}, at=testing.now)


def test_a_correction_keeps_the_old_value_and_says_why(measured: Testing) -> None:
    zone = measured.patient_zones[0]
    unit = zone.units[0].code
    old = Measurement.objects.get(unit__code=unit, kind="mass")
    better = f"{Decimal(tenths(zone.units[0].predicted_mass_ug)) + Decimal('0.3')}"
    with pytest.raises(BadInput, match="reason"):
        services.correct_measurement(measured.cast.ada, old.code, value=better, reason=" ", at=measured.now)
    answer = services.correct_measurement(
        measured.cast.ada, old.code, value=better, reason="read the wrong line", at=measured.now
    )
    rows = Measurement.objects.filter(unit__code=unit, kind="mass").order_by("pk")
    assert [one.value_ug for one in rows] == [old.value_ug, int(Decimal(better) * 1000)]
    assert rows[1].corrects_id == old.pk
    assert rows[1].reason == "read the wrong line"
    assert answer.measurements == ((unit, rows[1].code),)
    assert measured.evidence(zone.code).units[0].measured_mg == Decimal(better)
    with pytest.raises(Conflict, match="corrected already"):
        services.correct_measurement(measured.cast.ada, old.code, value=better, reason="once more", at=measured.now)
    with pytest.raises(BadInput, match="a slip"):
        services.correct_measurement(measured.cast.ada, rows[1].code, value="4000", reason="a slip", at=measured.now)
    measured.judge(zone)
    with pytest.raises(Conflict, match="is passed"):
        services.correct_measurement(measured.cast.ada, rows[1].code, value=better, reason="late", at=measured.now)


def test_only_weighed_units_of_a_test_zone_are_assayed(testing: Testing) -> None:
    test_zone = next(one for one in testing.zones if one.line is None)
    for zone in testing.zones:
        if zone.removal_order < test_zone.removal_order:
            testing.weigh(zone)
    services.break_off(testing.cast.ada, test_zone.code, counted=2, at=testing.now)
    unit = test_zone.units[0]
    right = {"content_mg": f"{Decimal(unit.predicted_content_ug) / 1000}", "method": "assay of one unit"}
    with pytest.raises(Blocked, match="was not weighed"):
        services.record_content(testing.cast.ada, unit.code, **right, at=testing.now)
    services.record_masses(
        testing.cast.ada, test_zone.code, masses_mg=masses(test_zone), balance=testing.balance, at=testing.now
    )
    for wrong in ("0", "-3", "NaN", "30000"):
        with pytest.raises(BadInput):
            services.record_content(testing.cast.ada, unit.code, content_mg=wrong, method="assay", at=testing.now)
    services.record_content(testing.cast.ada, unit.code, **right, at=testing.now)
    with pytest.raises(Conflict):
        services.record_content(testing.cast.ada, unit.code, **right, at=testing.now)
    for zone in testing.zones:
        if zone.removal_order > test_zone.removal_order:
            testing.weigh(zone)
    patients = testing.patient_zones[0].units[0].code
    with pytest.raises(Blocked, match="patient's unit"):
        services.record_content(testing.cast.ada, patients, **right, at=testing.now)


def test_evidence_that_is_missing_gives_no_verdict(testing: Testing) -> None:
    zone = testing.patient_zones[0]
    with pytest.raises(Blocked) as blocked:
        testing.judge(zone)
    messages = " ".join(one.message for one in blocked.value.refusals)
    for part in ("is not broken off", "without a mass", "was not looked at", "has no assay"):
        assert part in messages
    assert testing.evidence(zone.code).outcome == ""
    assert not Verdict.objects.exists()


def test_a_zone_as_predicted_passes_on_the_text_that_is_kept(measured: Testing) -> None:
    for zone in measured.zones:
        answer = measured.judge(zone)
        assert (answer.outcome, answer.state, answer.failures) == ("passed", "passed", ())
        kept = Verdict.objects.get(zone__code=zone.code)
        assert digest_of(kept.text) == kept.digest == answer.digest
        assert json.loads(kept.text)["outcome"] == "passed"
        assert [one.verdict for one in queries.test_lines(zone.code, site_id=measured.cast.site.pk)] == ["within"] * (
            3 + len(measured.evidence(zone.code).contents)
        )
    with pytest.raises(Conflict, match="is passed"):
        measured.judge(measured.zones[0])


def test_a_mass_out_of_its_limit_must_be_rejected_first(testing: Testing) -> None:
    zone = testing.patient_zones[0]
    off = f"{(Decimal(zone.units[0].predicted_mass_ug) / 1000 * Decimal('1.12')).quantize(Decimal('0.1'))}"
    for one in testing.zones:
        testing.weigh(one, **({"n1": off} if one.code == zone.code else {}))
    for deviation in open_deviations(site_id=testing.cast.site.pk, batch=testing.batch):
        testing.close(deviation.code, "may be used")
    for unit in (unit for one in testing.zones if one.line is None for unit in one.units):
        said = f"{Decimal(unit.predicted_content_ug) / 1000}"
        services.record_content(testing.cast.ada, unit.code, content_mg=said, method="assay", at=testing.now)
    with pytest.raises(Blocked, match="outside its limit and not rejected"):
        testing.judge(zone)
    services.reject_unit(testing.cast.ada, zone.units[0].code, reason="mass out of its limit", at=testing.now)
    answer = testing.judge(zone)
    assert answer.outcome == ("passed" if zone.spares >= 1 and not answer.failures else "failed")
    assert testing.zone(zone.code).units[0].state == "rejected"


def test_too_few_good_units_fail_and_free_the_line(measured: Testing) -> None:
    zone, other = measured.patient_zones
    for unit in zone.units[: zone.spares + 1]:
        services.reject_unit(measured.cast.rosa, unit.code, reason="chipped at the edge", at=measured.now)
    answer = measured.judge(zone)
    assert answer.outcome == "failed"
    assert [one.field for one in answer.failures] == ["good units"]
    assert set(measured.zone(zone.code).counts) == {"rejected"}
    lines = {line.code: line.committed_to for line in order_facts(measured.order).lines}
    assert lines[str(zone.line)] == ""
    assert lines[str(other.line)] != ""
    assert measured.judge(other).outcome == "passed"


def test_a_content_out_of_its_limit_fails_every_zone(testing: Testing) -> None:
    for zone in testing.zones:
        testing.weigh(zone)
    first = True
    for unit in (unit for one in testing.zones if one.line is None for unit in one.units):
        factor = Decimal("1.11") if first else Decimal(1)
        said = f"{(Decimal(unit.dose_ug) / 1000 * factor).quantize(Decimal('0.001'))}"
        services.record_content(testing.cast.rosa, unit.code, content_mg=said, method="assay", at=testing.now)
        first = False
    for zone in testing.zones:
        assert testing.judge(zone).outcome == "failed"


def test_a_deviation_holds_until_it_is_closed_and_may_fail_the_zone(measured: Testing) -> None:
    zone, other = measured.patient_zones
    opened = services.open_deviation(
        measured.cast.ada,
        kind="dropped on the bench",
        text="two units fell onto the clean bench",
        effect="they may be soiled",
        zones=[zone.code],
        concerns=["ada.brandt", "rosa.keller"],
        at=measured.now,
    )
    with pytest.raises(Blocked, match="open deviation"):
        measured.judge(zone)
    with undone():
        assert measured.judge(other).outcome == "passed", "another zone is not held"
    for name in ("rosa.keller", "tomas.lind"):
        with pytest.raises(NotAllowed):
            measured.close(opened.code, "may be used", by=name)
    with pytest.raises(NotAllowed, match="does not fit"):
        services.close_deviation(
            measured.cast.lena,
            opened.code,
            investigation="looked into by two people",
            action_taken="counted and weighed again",
            decision="may be used",
            pen=pen(services.shown_for_close(measured.cast.lena, opened.code), password=PASSWORD[1:]),
            at=measured.now,
        )
    with undone():
        measured.close(opened.code, "may be used")
        assert measured.judge(zone).outcome == "passed"
        assert measured.cast.lena.user_id in people_of_batch(measured.batch).closers
    measured.close(opened.code, "must not be used")
    with pytest.raises(Conflict):
        measured.close(opened.code, "may be used")
    assert measured.judge(zone).outcome == "failed"


def test_a_deviation_says_what_of_what(measured: Testing) -> None:
    facts = {"kind": "a kind", "text": "long enough a text", "effect": "none known", "at": measured.now}
    for wrong in (
        {},
        {"zones": ["ZN-AAAAA"]},
        {"batch": "PB-AAAAAA"},
        {"batch": measured.batch, "concerns": ["nobody"]},
    ):
        with pytest.raises((BadInput, NotThere)):
            services.open_deviation(measured.cast.ada, **(facts | wrong))  # type: ignore[arg-type]
    for wrong in ({"kind": "x"}, {"text": "short"}):
        with pytest.raises(BadInput):
            services.open_deviation(measured.cast.ada, **(facts | {"batch": measured.batch} | wrong))  # type: ignore[arg-type]
    with pytest.raises(NotAllowed):
        services.open_deviation(measured.cast.otto, **(facts | {"batch": measured.batch}))  # type: ignore[arg-type]


def test_closing_needs_every_verdict_and_no_open_deviation(measured: Testing) -> None:
    with pytest.raises(NotAllowed):
        services.close_batch(measured.cast.ada, measured.batch, at=measured.now)
    with pytest.raises(Blocked, match="has no verdict"):
        services.close_batch(measured.cast.rosa, measured.batch, at=measured.now)
    for zone in measured.zones:
        measured.judge(zone)
    opened = services.open_deviation(
        measured.cast.ada, kind="a late remark", text="long enough a text", effect="none known", batch=measured.batch,
        holds=False, at=measured.now,
    )  # fmt: skip
    with pytest.raises(Blocked, match="open deviation"):
        services.close_batch(measured.cast.rosa, measured.batch, at=measured.now)
    measured.close(opened.code, "may be used")
    zone = measured.patient_zones[0]
    with pytest.raises(BadInput, match="not left over"):
        services.close_batch(measured.cast.rosa, measured.batch, retained=[zone.units[0].code], at=measured.now)
    kept = zone.units[-1].code
    services.close_batch(measured.cast.rosa, measured.batch, retained=[kept], at=measured.now)
    counts = dict(measured.zone(zone.code).counts)
    assert counts == {"printed": zone.wanted, "retained": 1} | ({"surplus": zone.spares - 1} if zone.spares > 1 else {})


def test_units_are_destroyed_before_a_witness_who_is_another_person(measured: Testing) -> None:
    zone = measured.patient_zones[0]
    unit, good = zone.units[0].code, zone.units[1].code
    services.reject_unit(measured.cast.ada, unit, reason="chipped at the edge", at=measured.now)
    facts = {"units": [unit], "reason": "rejected units", "at": measured.now}
    with pytest.raises(NotAllowed, match="another person than the witness"):
        services.destroy_units(measured.cast.ada, **facts, witness="ada.brandt", witness_password=PASSWORD)  # type: ignore[arg-type]
    for witness, password in (("tomas.lind", "not the password"), ("nobody", PASSWORD)):
        with pytest.raises(NotAllowed):
            services.destroy_units(measured.cast.ada, **facts, witness=witness, witness_password=password)  # type: ignore[arg-type]
    with pytest.raises(Conflict, match="is printed"):
        services.destroy_units(
            measured.cast.ada, **(facts | {"units": [unit, good]}), witness="tomas.lind", witness_password=PASSWORD
        )  # type: ignore[arg-type]
    services.destroy_units(measured.cast.ada, **facts, witness="tomas.lind", witness_password=PASSWORD)  # type: ignore[arg-type]
    assert measured.zone(zone.code).units[0].state == "destroyed"


def test_who_made_and_who_tested_is_known(measured: Testing) -> None:
    people = people_of_batch(measured.batch)
    assert {measured.cast.tomas.user_id, measured.cast.ada.user_id} <= people.makers
    counted_by = measured.cast.tomas.user_id
    assert people.testers == {measured.cast.ada.user_id, counted_by}
    assert people.closers == frozenset()
