"""Last day of use against computed dates, its binding limit, and the course it must cover."""

from __future__ import annotations

import tomllib
from datetime import date
from pathlib import Path

import pytest

from dosewright.ground.pure.errors import BadInput, Blocked
from dosewright.ground.pure.formulas import FORMULAS
from labels.expiry import Expiry, ExpiryFacts, find_expiry, refuse_short_expiry, use_by

CASES = tomllib.loads((Path(__file__).parents[2] / "vectors" / "use_by.toml").read_text(encoding="utf-8"))["use_by"]
MADE = date(2026, 1, 15)


@pytest.mark.parametrize("case", CASES["cases"], ids=lambda case: case["id"])
def test_use_by_is_the_computed_day(case):
    assert use_by(case["made_on"], case["limit_days"], case["expiries"]) == case["use_by"]
    assert FORMULAS["use_by"].function is use_by


@pytest.mark.parametrize("days", [0, -1, 3661, 14.0, True, "14"])
def test_use_by_refuses_what_is_no_shelf_life(days):
    with pytest.raises(BadInput, match="shelf life"):
        use_by(MADE, days, [])


def test_use_by_refuses_a_component_expired_when_made():
    with pytest.raises(BadInput, match="had expired"):
        use_by(MADE, 14, [date(2026, 1, 14)])


@pytest.mark.parametrize(
    ("facts", "day", "limited_by"),
    [
        ({}, date(2026, 1, 29), "site's default shelf life"),
        ({"studied_days": 90}, date(2026, 4, 15), "shelf life by study"),
        ({"studied_days": 7}, date(2026, 1, 22), "shelf life by study"),
        ({"studied_days": 90, "cap_days": 35}, date(2026, 2, 19), "law's cap"),
        ({"cap_days": 180}, date(2026, 1, 29), "site's default shelf life"),
        (
            {"studied_days": 90, "materials": (("GN-A", date(2026, 6, 1)), ("GN-B", date(2026, 3, 1)))},
            date(2026, 3, 1),
            "expiry of GN-B",
        ),
    ],
)
def test_the_least_limit_binds_and_is_named(facts, day, limited_by):
    found = find_expiry(ExpiryFacts(made_on=MADE, default_days=14, **facts))
    assert (found.use_by_date, found.limited_by) == (day, limited_by)


def test_expiry_covers_the_last_day_of_the_course():
    expiry = Expiry(use_by_date=date(2026, 1, 29), limited_by="site's default shelf life")
    refuse_short_expiry(expiry, date(2026, 1, 29))
    with pytest.raises(Blocked) as caught:
        refuse_short_expiry(expiry, date(2026, 1, 30))
    assert (caught.value.refusals[0].value, caught.value.refusals[0].limit) == ("2026-01-29", "2026-01-30")
