"""Work that failed by a fault is counted, told from a refusal, and can be tried again."""

from __future__ import annotations

from datetime import timedelta

import pytest

from dosewright.ground.left_undone import LATE, LeftUndone, left_undone
from dosewright.ground.models import Work
from dosewright.ground.work import put_back_failed
from tests.ground.small_site import NOON, SmallSite, small_site

pytestmark = pytest.mark.django_db


@pytest.fixture
def house() -> SmallSite:
    return small_site()


def left(house: SmallSite, key: str, *, state: str, failure: str = "") -> int:
    return Work.objects.create(
        site=house.site, kind="test", key=key, payload="{}", state=state, failure=failure, attempts=5,
        created_at=NOON, due_at=NOON,
    ).pk  # fmt: skip


def test_faults_are_counted_and_refusals_are_not(house: SmallSite) -> None:
    left(house, "fault", state=Work.FAILED, failure="OSError: no space")
    left(house, "refused", state=Work.FAILED, failure='[{"field": "lot"}]')
    left(house, "late", state=Work.WAITING)
    assert left_undone(now=NOON) == LeftUndone(failed=1, late=0)
    assert left_undone(now=NOON + LATE + timedelta(seconds=1), site_id=house.site.pk) == LeftUndone(failed=1, late=1)
    assert left_undone(now=NOON, site_id=0) == LeftUndone(failed=0, late=0)


def test_only_what_failed_by_a_fault_is_tried_again(house: SmallSite) -> None:
    fault = left(house, "fault", state=Work.FAILED, failure="OSError: no space")
    refused = left(house, "refused", state=Work.FAILED, failure='[{"field": "lot"}]')
    assert put_back_failed(now=NOON) == 1
    assert (Work.objects.get(pk=fault).state, Work.objects.get(pk=fault).attempts) == (Work.WAITING, 0)
    assert Work.objects.get(pk=refused).state == Work.FAILED
