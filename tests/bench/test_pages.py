"""However many orders there are, no page takes more than thirty queries, and none takes more for more orders."""

from __future__ import annotations

import pytest

from tests.bench.crowd import crowded
from tests.bench.pages import MOST_QUERIES, looked_at
from tests.cast import demo_substance, found_cast
from tests.orders import order_request, screened_order

pytestmark = pytest.mark.django_db


def test_pages_take_as_many_queries_for_many_orders_as_for_few() -> None:
    cast = found_cast()
    demo_substance(cast)
    order = screened_order(cast, order_request())
    crowded(order, 5)
    few = {(one.page, one.who): one.queries for one in looked_at(cast, order)}
    crowded(order, 40)
    many = {(one.page, one.who): one.queries for one in looked_at(cast, order)}
    assert few.keys() == many.keys()
    assert len(many) > 30
    assert min(many.values()) > 0, "nothing was counted"
    assert {place: count for place, count in many.items() if count > MOST_QUERIES} == {}
    assert {place: (few[place], count) for place, count in many.items() if count > few[place] + 2} == {}
