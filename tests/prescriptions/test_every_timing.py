"""Orders of every timing through the service: lines, words and facts; supplies; once a week; repeats."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest

from dosewright.ground.pure.errors import BadInput, Refusal
from prescriptions import services
from prescriptions.calendar import in_order
from prescriptions.models import DoseLine, Order, OrderVersion
from prescriptions.queries import order_facts
from prescriptions.queries.facts import current_version
from prescriptions.queries.orders import one_order
from prescriptions.queries.regimen import administrations_of, regimen_of
from tests.cast import NOW, Cast, demo_substance, pen
from tests.orders import another_child, enter_signed, order_request, screened_order, verify

pytestmark = pytest.mark.django_db

DAILY = {"dose": "3 mg", "times": ["07:00"], "start_date": "2026-03-10", "days": 28}
AS_NEEDED = {"least_interval": "6 h", "most_per_day": 4}


def timed(**step: Any) -> dict[str, Any]:
    """Return a regimen of one step of 3 mg from 10 March 2026."""
    return {"steps": [{"dose": "3 mg", "start_date": "2026-03-10", "days": 28} | step]}


def entered(cast: Cast, **changes: Any) -> str:
    return enter_signed(cast, order_request(**changes)).code


def refused(cast: Cast, **changes: Any) -> list[Refusal]:
    before = Order.objects.count()
    with pytest.raises(BadInput) as caught:
        entered(cast, **changes)
    assert Order.objects.count() == before
    return list(caught.value.refusals)


@pytest.mark.parametrize(
    ("step", "times", "taken", "per_day", "count"),
    [
        ({"times": ["19:00", "07:00"]}, ("07:00", "19:00"), "at 07:00 and 19:00 every day", 2, 56),
        ({"slots": ["with lunch"]}, ("with lunch",), "with lunch every day", 1, 28),
        ({"times": ["07:00"], "every_n_days": 2}, ("07:00",), "at 07:00 every 2 days", 1, 14),
        ({"times": ["07:00"], "weekdays": ["sunday"]}, ("07:00",), "at 07:00 on Sundays", 1, 4),
        (
            {"as_needed": AS_NEEDED | {"reason": "pain"}},
            ("when needed",),
            "when needed for pain, at least 6 h apart and at most 4 in 24 hours",
            4,
            112,
        ),
    ],
)
def test_every_timing_is_kept_whole(
    cast: Cast, step: dict[str, Any], times: tuple[str, ...], taken: str, per_day: int, count: int
) -> None:
    code = entered(cast, regimen=timed(**step))
    (line,) = order_facts(code).lines
    assert (line.times, line.taken, line.doses_per_day, line.administrations) == (times, taken, per_day, count)
    assert len(line.dates) * per_day == count
    version = current_version(Order.objects.get(code=code))
    given = administrations_of(version)
    assert len(given) == count
    assert given == in_order(given)
    assert regimen_of(version).steps[0].schedule == line.schedule
    view = one_order(cast.rosa, code, at=NOW)
    assert view.steps[0].in_words.startswith(f"3 mg {taken}, 2026-03-10 to 2026-04-06 (")


def test_a_dose_as_needed_takes_the_orders_indication_for_its_reason(cast: Cast) -> None:
    code = entered(cast, regimen=timed(as_needed=AS_NEEDED), indication="pain after teething")
    (line,) = order_facts(code).lines
    assert "for pain after teething" in line.taken


def test_supplies_are_lines_of_their_own_each_due_for_its_first_day(cast: Cast) -> None:
    steps = [DAILY, DAILY | {"times": ["19:00"], "dose": "2 mg"}]
    said = datetime(2026, 3, 9, 15, tzinfo=UTC)
    code = entered(cast, regimen={"steps": steps}, supply_days=14, ready_by=said.isoformat())
    second = datetime(2026, 3, 24, 7, tzinfo=cast.site.zone)
    lines = order_facts(code).lines
    assert [(one.dose_mg, one.supply, one.supplies, one.starts_on, one.administrations) for one in lines] == [
        (Decimal(3), 1, 2, date(2026, 3, 10), 14),
        (Decimal(2), 1, 2, date(2026, 3, 10), 14),
        (Decimal(3), 2, 2, date(2026, 3, 24), 14),
        (Decimal(2), 2, 2, date(2026, 3, 24), 14),
    ]
    assert [one.ready_by for one in lines] == [said, said, second, second]
    assert Order.objects.get(code=code).ready_by == said


def test_a_substance_for_once_a_week_is_not_ordered_otherwise(cast: Cast) -> None:
    demo_substance(cast, name="weeklymycin", weekly_only=True)
    for step in (
        {"times": ["07:00"]},
        {"times": ["07:00"], "weekdays": ["monday", "thursday"]},
        {"times": ["07:00"], "every_n_days": 6},
        {"slots": ["with breakfast", "with supper"], "weekdays": ["monday"]},
        {"as_needed": AS_NEEDED | {"reason": "joints"}, "days": 1},
    ):
        (only,) = refused(cast, substance="weeklymycin", regimen=timed(**step))
        assert (only.field, only.rule) == ("regimen.steps[0]", "weekly-only")
    assert entered(cast, substance="weeklymycin", regimen=timed(times=["07:00"], weekdays=["monday"]))


def test_a_repeat_with_a_change_is_shown_side_by_side_and_signed(cast: Cast) -> None:
    first = screened_order(cast, order_request("3 mg", "2 mg", "1.75 mg"))
    verify(cast, first)
    later = {"weight": {"value": "21.5", "unit": "kg", "measured_on": "2026-03-02"}}
    steps = [
        {"dose": dose, "times": [at], "start_date": "2026-04-07", "days": 28}
        for dose, at in (("3.5 mg", "07:00"), ("2 mg", "13:00"), ("1.75 mg", "19:00"))
    ]
    change = "morning dose raised for growth"
    changes = {"regimen": {"steps": steps}, "patient": later}
    (unsaid,) = refused(cast, **changes, repeats={"order": first})
    assert (unsaid.field, unsaid.rule) == ("repeats.change", "repeats")
    assert unsaid.value is not None
    assert "3 mg at 07:00 every day for 28 days is now 3.5 mg at 07:00 every day for 28 days" in unsaid.value
    code = entered(cast, **changes, repeats={"order": first, "change": change})
    version = OrderVersion.objects.get(order__code=code)
    assert version.repeats == OrderVersion.objects.get(order__code=first)
    assert change in version.text
    repeats = one_order(cast.rosa, code, at=NOW).repeats
    assert repeats is not None
    assert (repeats.order, repeats.version, repeats.change) == (first, 1, change)
    assert [one.is_same for one in repeats.steps] == [False, True, True]
    assert [(one.what, one.before, one.now, one.is_ordered) for one in repeats.differences] == [
        ("step 1", "3 mg at 07:00 every day for 28 days", "3.5 mg at 07:00 every day for 28 days", True),
        ("weight", "20.5 kg", "21.5 kg", False),
    ]


def test_a_repeat_of_nothing_but_other_dates_says_no_change(cast: Cast) -> None:
    reference = order_request(regimen={"steps": [DAILY]})
    enter_signed(cast, reference)
    again = {"regimen": {"steps": [DAILY | {"start_date": "2026-04-07"}]}}
    by_reference = {"reference": reference.reference}
    assert entered(cast, **again, repeats=by_reference)
    (only,) = refused(cast, **again, repeats=by_reference | {"change": "dose raised"})
    assert (only.field, only.value) == ("repeats.change", "dose raised")


def test_only_a_signed_order_of_the_same_patient_and_substance_is_repeated(cast: Cast) -> None:
    demo_substance(cast, name="othermycin")
    order = order_request(regimen={"steps": [DAILY]})
    first = enter_signed(cast, order).code
    again = {"regimen": {"steps": [DAILY]}}
    waiting = order_request(regimen={"steps": [DAILY]})
    services.enter_order(cast.mira, request=waiting, source="tests", pen=None, at=NOW)
    for changes, says in (
        ({"repeats": {"order": first}, "patient": another_child(7)}, "another patient"),
        ({"repeats": {"order": first}, "substance": "othermycin"}, "another substance"),
        ({"repeats": {"order": "RX-NONE"}}, "no such order"),
        ({"repeats": {"reference": "never sent"}}, "no such order"),
        ({"repeats": {"reference": waiting.reference}}, "is waiting"),
        ({"repeats": {"reference": "WARD-SELF"}, "reference": "WARD-SELF"}, "no such order"),
    ):
        (only,) = refused(cast, **again, **changes)
        assert says in only.message, changes
        assert only.rule == "repeats"


def test_an_amended_order_does_not_repeat_itself(cast: Cast) -> None:
    order = order_request(regimen={"steps": [DAILY]})
    first = enter_signed(cast, order).code
    changed = order_request(regimen={"steps": [DAILY]}, reference=order.reference, repeats={"order": first})
    with pytest.raises(BadInput, match="cannot repeat itself"):
        services.amend_shown(cast.mira, first, changed, change_reason="a slip", at=NOW)


def test_amending_keeps_supplies_and_lets_the_old_lines_go(cast: Cast) -> None:
    order = order_request(regimen={"steps": [DAILY]})
    code = enter_signed(cast, order).code
    changed = order_request(regimen={"steps": [DAILY]}, reference=order.reference, supply_days=7)
    shown = services.amend_shown(cast.mira, code, changed, change_reason="weekly visits", at=NOW)
    services.amend_order(cast.mira, code, request=changed, change_reason="weekly visits", pen=pen(shown), at=NOW)
    assert [one.supply for one in order_facts(code).lines] == [1, 2, 3, 4]
    assert DoseLine.objects.filter(order__code=code).count() == 5
