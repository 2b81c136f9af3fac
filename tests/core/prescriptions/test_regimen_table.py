"""Regimen -> dose lines with counts and dates, against a table written by hand from the calendar."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from dosewright.ground.pure.errors import BadInput, Refusal
from prescriptions.calendar import administrations, line_administrations
from prescriptions.dosing import BodySize, RoundingRule
from prescriptions.intake.regimen_json import read_regimen, step_as_json
from prescriptions.line_records import supplies_ready_by
from prescriptions.regimens import Line, Regimen, check_weekly, dose_lines, ordered_doses
from tests.core.prescriptions.builders import regimen, step
from tests.core.vectors import load

TABLE = load("regimens")
BERLIN = ZoneInfo("Europe/Berlin")


def read(steps: list[Mapping[str, Any]]) -> Regimen:
    """Return the regimen that the order JSON holds; raises BadInput as an order would."""
    refusals: list[Refusal] = []
    found: Regimen = read_regimen({"steps": steps}, "regimen", refusals)
    if refusals:
        raise BadInput(*refusals)
    return found


def made(case: Mapping[str, Any]) -> tuple[Regimen, tuple[Line, ...], dict[str, Any]]:
    """Return a case's regimen, its lines, and what they were worked out with."""
    found = read(case["steps"])
    measures = {name: Decimal(case[name]) for name in ("weight_kg", "height_cm") if name in case}
    rule = RoundingRule(step_mg=Decimal(case.get("step_mg", "0.5")), source="invented for the test")
    sized = {"body": BodySize(**measures), "rule": rule}
    return found, dose_lines(found, supply_days=case.get("supply_days"), **sized), sized


@pytest.mark.parametrize("case", TABLE["regimen"], ids=lambda case: case["name"])
def test_lines_with_counts_and_dates(case: Mapping[str, Any]) -> None:
    found, lines, sized = made(case)
    assert [
        {
            "mg": str(line.dose_mg),
            "taken": line.schedule.words,
            "from": line.start_date,
            "to": line.stop_date,
            "count": line.count,
            "supply": [line.supply, line.supplies],
        }
        for line in lines
    ] == [{"supply": [1, 1]} | wanted for wanted in case["lines"]]
    of_lines = Counter(one for line in lines for one in line_administrations(line))
    assert of_lines == Counter(administrations(found, ordered_doses(found, **sized)))
    assert read([step_as_json(one) for one in found.steps]) == found


@pytest.mark.parametrize("case", TABLE["refused"], ids=lambda case: case["name"])
def test_regimens_that_cannot_be_meant_are_refused_by_name(case: Mapping[str, Any]) -> None:
    with pytest.raises(BadInput) as caught:
        made(case)
    (only,) = caught.value.refusals
    assert (only.field, only.value) == (case["field"], case.get("value"))
    assert only.limit == case.get("limit", only.limit)
    assert only.message
    assert only.accepted


@pytest.mark.parametrize("case", TABLE["weekly"], ids=lambda case: case.get("name", "kept"))
def test_a_substance_for_once_a_week_takes_no_other_timing(case: Mapping[str, Any]) -> None:
    refusals = check_weekly(read(case["steps"]))
    assert [[one.field, one.value] for one in refusals] == case["refused"]
    assert {one.rule for one in refusals} <= {"weekly-only"}


def test_later_supplies_are_due_at_opening_on_their_first_day_whatever_the_clocks_do() -> None:
    # 08:00 in Berlin is 07:00 UTC until 28 March 2026 and 06:00 UTC from the 29th on (Directive 2000/84/EC).
    lines = dose_lines(regimen(step("3 mg", "09:00", start=date(2026, 3, 15), days=28)), supply_days=14)
    said = datetime(2026, 3, 13, 15, tzinfo=UTC)
    assert supplies_ready_by(lines, said, BERLIN) == (said, datetime(2026, 3, 29, 6, tzinfo=UTC))
    assert supplies_ready_by(lines, None, BERLIN)[0] == datetime(2026, 3, 15, 7, tzinfo=UTC)
    early = dose_lines(regimen(step("3 mg", "06:30", start=date(2026, 3, 29), days=2)))
    assert supplies_ready_by(early, None, BERLIN) == (datetime(2026, 3, 29, 4, 30, tzinfo=UTC),)
