"""Counts of the plate: what is missing is named, what is mixed up holds its zones, nothing moves silently."""

from __future__ import annotations

from datetime import datetime

import pytest

from dosewright.ground.pure.errors import BadInput, Conflict, NotAllowed
from printing.plates.content import ZoneFacts
from printing.plates.queries import batch_facts, zone_facts
from printing.runs import services
from printing.runs.queries import open_deviations, zone_evidence
from printing.runs.services import ZoneCount
from tests.batches import counts_as_placed, run_to, undone
from tests.cast import NOW
from tests.runs.conftest import Plate

pytestmark = pytest.mark.django_db


@pytest.fixture
def printed_plate(plate: Plate) -> Plate:
    """A batch whose run has ended, its rafts still on the plate."""
    run_to(plate.cast, plate.batch, "printed")
    return plate


def patient_zones(plate: Plate) -> tuple[ZoneFacts, ZoneFacts]:
    first, second = (one for one in batch_facts(plate.batch, site_id=plate.cast.site.pk).zones if one.line is not None)
    return first, second


def remove(plate: Plate, at: datetime = NOW, **changes: ZoneCount) -> services.CountAnswer:
    """Count as placed but for the zones in `changes`, whose names have _ for -."""
    counts = counts_as_placed(plate.cast, plate.batch)
    counts |= {zone.replace("_", "-"): count for zone, count in changes.items()}
    return services.remove_from_plate(plate.cast.tomas, plate.batch, counts=counts, at=at)


def named(zone: ZoneFacts) -> str:
    return zone.code.replace("-", "_")


def states(plate: Plate, zone: ZoneFacts) -> dict[str, int]:
    return dict(zone_facts(zone.code, site_id=plate.cast.site.pk).counts)


def test_equal_counts_print_every_unit_and_hold_nothing(printed_plate: Plate) -> None:
    answer = remove(printed_plate)
    assert answer.state == "finishing"
    assert answer.deviations == ()
    for zone in batch_facts(printed_plate.batch, site_id=printed_plate.cast.site.pk).zones:
        assert zone.counts == {"printed": len(zone.units)}


def test_one_too_few_here_and_one_too_many_there_holds_both_zones(printed_plate: Plate) -> None:
    """27 + 15 counted where 28 + 14 were placed, on a smaller plate."""
    first, second = patient_zones(printed_plate)
    answer = remove(
        printed_plate,
        **{
            named(first): ZoneCount(counted=len(first.units) - 1),
            named(second): ZoneCount(counted=len(second.units) + 1),
        },
    )
    site_id = printed_plate.cast.site.pk
    (deviation,) = answer.deviations
    for zone in (first, second):
        (held,) = open_deviations(site_id=site_id, zone=zone.code)
        assert held.code == deviation
        assert held.kind == "possible mix-up"
        assert set(held.zones) == {first.code, second.code}
        assert states(printed_plate, zone) == {"printed": len(zone.units)}, "no unit changed its zone"
    said = open_deviations(site_id=site_id, batch=printed_plate.batch)[0].text
    assert f"{first.code}: {len(first.units) - 1} counted where {len(first.units)} were placed" in said
    others = [one for one in batch_facts(printed_plate.batch, site_id=site_id).zones if one.line is None]
    assert all(not open_deviations(site_id=site_id, zone=one.code) for one in others)
    missing = {one.field for one in zone_evidence(first.code, site_id=site_id).missing}
    assert {deviation, "count"} <= missing


def test_a_plain_shortage_names_its_units_and_holds_its_zone(printed_plate: Plate) -> None:
    first, second = patient_zones(printed_plate)
    with pytest.raises(BadInput, match="must be named"):
        remove(printed_plate, **{named(first): ZoneCount(counted=len(first.units) - 2)})
    answer = remove(
        printed_plate,
        **{named(first): ZoneCount(counted=len(first.units) - 2, missing=(1,), not_printed=(2,))},
    )
    assert states(printed_plate, first) == {"unaccounted": 1, "not printed": 1, "printed": len(first.units) - 2}
    (held,) = open_deviations(site_id=printed_plate.cast.site.pk, zone=first.code)
    assert (held.kind, (held.code,)) == ("units missing", answer.deviations)
    assert not open_deviations(site_id=printed_plate.cast.site.pk, zone=second.code)


def test_numbers_that_do_not_explain_the_shortage_are_refused(printed_plate: Plate) -> None:
    first, _ = patient_zones(printed_plate)
    for missing, not_printed in (((99,), ()), ((1, 1), ()), ((1,), (1,)), ((1,), (2,)), ((), ())):
        count = ZoneCount(counted=len(first.units) - 1, missing=missing, not_printed=not_printed)
        with undone(), pytest.raises(BadInput):
            remove(printed_plate, **{named(first): count})
    assert states(printed_plate, first) == {"planned": len(first.units)}
    assert batch_facts(printed_plate.batch, site_id=printed_plate.cast.site.pk).state == "printed"


def test_units_named_where_nothing_is_missing_are_refused(printed_plate: Plate) -> None:
    first, _ = patient_zones(printed_plate)
    with pytest.raises(BadInput, match="must be named"):
        remove(printed_plate, **{named(first): ZoneCount(counted=len(first.units), missing=(1,))})


def test_a_surplus_alone_holds_its_zone(printed_plate: Plate) -> None:
    first, second = patient_zones(printed_plate)
    remove(printed_plate, **{named(first): ZoneCount(counted=len(first.units) + 1)})
    (held,) = open_deviations(site_id=printed_plate.cast.site.pk, zone=first.code)
    assert held.zones == (first.code,)
    assert not open_deviations(site_id=printed_plate.cast.site.pk, zone=second.code)


def test_every_zone_is_counted_and_no_other(printed_plate: Plate) -> None:
    counts = counts_as_placed(printed_plate.cast, printed_plate.batch)
    first = next(iter(counts))
    for wrong in (
        {zone: one for zone, one in counts.items() if zone != first},
        {**counts, "ZN-AAAAA": ZoneCount(counted=1)},
        {**counts, first: ZoneCount(counted=-1)},
    ):
        with pytest.raises(BadInput):
            services.remove_from_plate(printed_plate.cast.tomas, printed_plate.batch, counts=wrong, at=NOW)


def test_removal_comes_once_after_the_run_and_is_for_technicians(plate: Plate) -> None:
    with pytest.raises(Conflict, match="cannot remove"):
        remove(plate)
    run_to(plate.cast, plate.batch, "printed")
    counts = counts_as_placed(plate.cast, plate.batch)
    with pytest.raises(NotAllowed):
        services.remove_from_plate(plate.cast.rosa, plate.batch, counts=counts, at=NOW)
    remove(plate)
    with pytest.raises(Conflict, match="cannot remove"):
        remove(plate)


def test_a_missed_unit_that_is_found_comes_back_and_stays_held(printed_plate: Plate) -> None:
    first, _ = patient_zones(printed_plate)
    remove(printed_plate, **{named(first): ZoneCount(counted=len(first.units) - 1, missing=(2,))})
    unit = first.units[1].code
    services.find_unit(printed_plate.cast.ada, unit, where="in the drip tray", at=NOW)
    assert states(printed_plate, first) == {"printed": len(first.units)}
    kinds = [one.kind for one in open_deviations(site_id=printed_plate.cast.site.pk, zone=first.code)]
    assert kinds == ["units missing", "unit found"]
    with pytest.raises(Conflict, match="cannot find"):
        services.find_unit(printed_plate.cast.ada, unit, where="in the drip tray", at=NOW)
