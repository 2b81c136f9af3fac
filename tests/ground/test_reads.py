"""Looks at patient data are sealed into the chain by the hour, and a row that was tampered with breaks its seal."""

from __future__ import annotations

import json
from datetime import datetime, timedelta

import pytest
from django.db import connection

from dosewright.ground import triggers
from dosewright.ground.models import AuditEntry, ReadEntry, Work
from dosewright.ground.pure.roles import Role
from dosewright.ground.scope import record_read
from dosewright.ground.verify import verify
from dosewright.ground.work import run, sweep
from tests.ground.small_site import NOON, SmallSite, small_site

pytestmark = pytest.mark.django_db(transaction=True)

HOUR = timedelta(hours=1)


def look(house: SmallSite, patient: str, *, at: datetime) -> None:
    """Let the pharmacist look at a patient."""
    record_read(house.actor(Role.PHARMACIST), patient=patient, view="order", at=at)


def work_off(*, at: datetime) -> int:
    """Run what is due and return how many pieces ended done."""
    return sum(run(pk, clock=lambda: at) for pk in sweep(clock=lambda: at))


def seals() -> list[tuple[int, int]]:
    """Return the first and last place that each seal covers."""
    entries = AuditEntry.objects.filter(action="reads.seal").order_by("seq")
    notes = [json.loads(entry.text)["notes"] for entry in entries]
    return [(one["first"], one["last"]) for one in notes]


@pytest.fixture
def house() -> SmallSite:
    house = small_site()
    for minute in (0, 10, 59):
        look(house, f"PA-{minute}", at=NOON + timedelta(minutes=minute))
    look(house, "PA-next", at=NOON + HOUR)
    return house


def test_an_hour_is_sealed_once_it_is_over_and_requests_of_it_have_ended(house: SmallSite) -> None:
    assert Work.objects.filter(kind="seal reads").count() == 2
    assert work_off(at=NOON + HOUR + timedelta(minutes=9, seconds=59)) == 0
    assert work_off(at=NOON + HOUR + timedelta(minutes=10)) == 1
    assert seals() == [(1, 3)]
    assert work_off(at=NOON + 3 * HOUR) == 1
    assert seals() == [(1, 3), (4, 4)]
    assert verify().faults == []


def test_the_entry_tells_of_no_patient(house: SmallSite) -> None:
    work_off(at=NOON + 3 * HOUR)
    assert not [entry for entry in AuditEntry.objects.filter(action="reads.seal") if "PA-" in entry.text]


def test_a_clock_that_was_set_back_loses_no_row_and_seals_none_twice(house: SmallSite) -> None:
    work_off(at=NOON + 3 * HOUR)
    look(house, "PA-again", at=NOON + timedelta(minutes=30))
    look(house, "PA-later", at=NOON + 5 * HOUR)
    work_off(at=NOON + 9 * HOUR)
    assert seals()[-1] == (5, 6)
    assert verify().faults == []


def test_hours_sealed_out_of_order_cover_every_row_once(house: SmallSite) -> None:
    first, second = Work.objects.filter(kind="seal reads").order_by("due_at")
    at = NOON + 3 * HOUR
    assert [run(one.pk, clock=lambda: at) for one in (second, first)] == [True, True]
    assert seals() == [(1, 4), (5, 4)]
    assert verify().faults == []


@pytest.mark.parametrize(
    ("statement", "where"),
    [
        ("UPDATE ground_readentry SET patient = 'PA-9' WHERE patient = 'PA-10'", "reads 1 to 3"),
        ("UPDATE ground_readentry SET reason = 'asked' WHERE patient = 'PA-next'", "reads 4 to 4"),
        ("DELETE FROM ground_readentry WHERE patient = 'PA-59'", "reads 1 to 3"),
        ("DELETE FROM ground_readentry WHERE patient = 'PA-next'", "reads 4 to 4"),
        ("UPDATE ground_readentry SET at = '2026-03-02 11:11:11' WHERE patient = 'PA-10'", "reads 1 to 3"),
        ("UPDATE ground_readentry SET id = id + 1000 WHERE patient = 'PA-10'", "reads 1 to 3"),
    ],
)
def test_a_row_that_was_tampered_with_is_located(house: SmallSite, statement: str, where: str) -> None:
    for hours in (2, 3):
        work_off(at=NOON + hours * HOUR)
    assert verify().faults == []
    triggers.remove()
    with connection.cursor() as cursor:
        cursor.execute(statement)
    triggers.install()
    assert [fault.what for fault in verify().faults if where in fault.where]


def test_a_row_put_in_between_is_found(house: SmallSite) -> None:
    work_off(at=NOON + 3 * HOUR)
    first = ReadEntry.objects.order_by("pk").first()
    assert first is not None
    first.pk, first.patient = 0, "PA-forged"
    first.save(force_insert=True)
    assert [fault for fault in verify().faults if "reads 1 to 3" in fault.where]


def test_two_sites_are_sealed_apart(house: SmallSite) -> None:
    other = small_site("two")
    look(other, "PA-other", at=NOON)
    work_off(at=NOON + 3 * HOUR)
    assert sorted(seals()) == [(1, 1), (1, 3), (4, 4)]
    assert verify().faults == []
