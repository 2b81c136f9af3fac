"""A course that outlasts the product blocks when it is ordered, with the days that a supply may have."""

from __future__ import annotations

from typing import Any

import pytest

from prescriptions.queries import order_facts
from prescriptions.queries.facts import standing_alerts
from tests.batches import work_off_all
from tests.cast import Cast, validated_formulation
from tests.orders import enter_signed, order_request

pytestmark = pytest.mark.django_db

RULE = "course-outlasts-product"


def order(cast: Cast, days: int, **changes: Any) -> str:
    """Enter and screen one dose a day from 10 March 2026, due that morning; return the order's code."""
    steps = [{"dose": "3 mg", "times": ["09:00"], "start_date": "2026-03-10", "days": days}]
    code = enter_signed(cast, order_request(regimen={"steps": steps}, **changes)).code
    work_off_all("fact:order received")
    return code


def test_sixty_days_of_shelf_life_cover_59_days_of_course(cast: Cast) -> None:
    # Printed two days (the site's lead time) before 10 March it keeps 60 days, to 7 May: 59 days of doses.
    validated_formulation(cast)
    kept = order(cast, 59)
    assert RULE not in {one.rule for one in standing_alerts(kept)}
    (found,) = [one for one in standing_alerts(order(cast, 60)) if one.rule == RULE]
    assert (found.severity, found.value, found.limit, found.unit) == ("block", "61", "60", "day")
    assert "supplies (supply_days) of up to 59 days" in found.message


def test_in_supplies_the_same_course_is_made(cast: Cast) -> None:
    validated_formulation(cast)
    code = order(cast, 60, supply_days=59)
    assert RULE not in {one.rule for one in standing_alerts(code)}
    assert [line.administrations for line in order_facts(code).lines] == [59, 1]


def test_each_supply_is_held_against_its_own_day(cast: Cast) -> None:
    validated_formulation(cast)
    code = order(cast, 120, supply_days=60)
    blocked = [one.field for one in standing_alerts(code) if one.rule == RULE]
    assert blocked == [line.code for line in order_facts(code).lines]
