"""A verdict by what is on record and nothing else; deviations, the end of a batch, destruction."""

from __future__ import annotations

import json
from decimal import Decimal

import pytest

from dosewright.ground.pure.canonical import digest_of
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotAllowed, NotThere
from prescriptions.queries import order_facts
from printing.runs import queries, services
from printing.runs.models import Verdict
from printing.runs.queries import open_deviations, people_of_batch
from tests.batches import undone
from tests.cast import PASSWORD, pen
from tests.runs.testing import Testing

pytestmark = pytest.mark.django_db


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
        said = f"{Decimal(unit.predicted_content_ng) / 1_000_000}"
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
        said = f"{(Decimal(unit.dose_ng) / 1_000_000 * factor).quantize(Decimal('0.001'))}"
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
