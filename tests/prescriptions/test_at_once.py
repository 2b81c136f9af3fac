"""The same order sent by many at once is one order; a race between two people has one winner."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.db import connection

from dosewright.ground.models import Idempotency
from dosewright.ground.pure.errors import Blocked, Conflict
from prescriptions import services
from prescriptions.models import Order, Patient
from prescriptions.queries import order_state
from tests.cast import NOW, Cast, demo_substance, found_cast, pen
from tests.orders import order_request, screened_order

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]


@pytest.fixture
def cast(transactional_db: None) -> Cast:
    """The demo site, really committed."""
    cast = found_cast()
    demo_substance(cast)
    return cast


def at_once(many: int, call: Callable[[], Any]) -> list[Any]:
    """Call from `many` threads, each with a connection of its own; return answers and refusals."""

    def one(_: int) -> Any:
        try:
            return call()
        except (Conflict, Blocked) as refused:
            return refused
        finally:
            connection.close()

    with ThreadPoolExecutor(many) as pool:
        return list(pool.map(one, range(many)))


def test_equal_requests_at_once_make_one_order(cast: Cast) -> None:
    request, mira = order_request(), cast.mira
    answers = at_once(8, lambda: services.enter_order(mira, request=request, source="tests", pen=None, at=NOW))
    assert len({one.code for one in answers}) == 1
    assert sorted(one.repeated for one in answers) == [False] + [True] * 7
    assert (Order.objects.count(), Patient.objects.count(), Idempotency.objects.count()) == (1, 1, 1)


def test_one_of_many_verifies(cast: Cast) -> None:
    code, rosa = screened_order(cast, order_request()), cast.rosa
    given = pen(services.verify_shown(rosa, code))
    answers = at_once(4, lambda: services.verify_order(rosa, code, pen=given, at=NOW))
    assert sum(isinstance(one, services.OrderAnswer) for one in answers) == 1
    assert order_state(code) == "verified"
