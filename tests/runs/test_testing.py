"""One zone at a time: broken off, counted, weighed, looked at, assayed."""

from __future__ import annotations

from decimal import Decimal

import pytest

from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotThere
from printing.runs import services
from printing.runs.models import Measurement
from printing.runs.queries import open_deviations
from tests.batches import tenths
from tests.runs.testing import Testing, masses

pytestmark = pytest.mark.django_db


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
        lambda: services.record_appearance(testing.cast.ada, first.code, looked_at=1, defects={}, at=testing.now),
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
    count = len(zone.units)

    def look(looked_at: int, **defects: str) -> None:
        numbered = {int(name[1:]): seen for name, seen in defects.items()}
        services.record_appearance(testing.cast.ada, zone.code, looked_at=looked_at, defects=numbered, at=testing.now)

    with pytest.raises(BadInput, match="no class"):
        look(count, n1="ugly")
    with pytest.raises(BadInput, match="no number"):
        look(count, n99="minor")
    for wrong in (count - 1, count + 1, 0):
        with pytest.raises(BadInput, match="wait to be looked at"):
            look(wrong)
    look(count, n1="critical", n2="minor")
    states = {one.number: one.state for one in testing.zone(zone.code).units}
    assert (states[1], states[2]) == ("rejected", "printed")
    with pytest.raises(Conflict, match="looked at already"):
        look(count)


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
    assert [one.value_ng for one in rows] == [old.value_ng, int(Decimal(better) * 1_000_000)]
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
    right = {"content_mg": f"{Decimal(unit.predicted_content_ng) / 1_000_000}", "method": "assay of one unit"}
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
