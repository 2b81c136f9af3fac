"""What a pack's label says of a line that was ordered, for every timing, and read back to the same doses."""

from __future__ import annotations

from typing import Any

import pytest

from dosewright.ground.jurisdictions import load_pack
from labels.queries.on_label import directions_of
from labels.wording import directions_words, period_words, supply_words
from prescriptions.calendar import Administration
from prescriptions.models import Order
from prescriptions.queries import order_facts
from prescriptions.queries.facts import current_version
from prescriptions.queries.regimen import administrations_of
from prescriptions.timing import MealSlot
from printing.formulary.queries import validated_for
from tests.cast import Cast, demo_substance, found_cast, validated_formulation
from tests.core.labels.label_reader import Taken, read
from tests.orders import enter_signed, order_request

WORDS = load_pack("demo", "2026.1").wording("en")
START = {"dose": "3 mg", "start_date": "2026-03-10", "days": 28}
CASES: list[tuple[dict[str, Any], dict[str, Any], list[str]]] = [
    ({"slots": ["with lunch"]}, {}, ["Take ONE 3 mg tablet (3 mg) with lunch, every day."]),
    (
        {"times": ["08:00"], "weekdays": ["monday"]},
        {},
        ["Take ONE 3 mg tablet (3 mg) at 8 in the morning, on MONDAYS only."],
    ),
    (
        {"as_needed": {"least_interval": "6 h", "most_per_day": 4}},
        {"indication": "pain"},
        [
            "Take ONE 3 mg tablet (3 mg) only when needed for pain; wait at least 6 hours between doses, "
            "at most 4 doses in 24 hours."
        ],
    ),
    (
        {"times": ["08:00"], "every_n_days": 2},
        {"supply_days": 14},
        [
            f"Take ONE 3 mg tablet (3 mg) at 8 in the morning, every 2 days only: {first}, then {second}, and so on."
            for first, second in (("10 March 2026", "12 March 2026"), ("24 March 2026", "26 March 2026"))
        ],
    ),
]


@pytest.fixture
def cast(db: None) -> Cast:
    """The demo site with a validated formulation of hydrocortisone."""
    cast = found_cast()
    demo_substance(cast)
    validated_formulation(cast)
    return cast


def as_read(one: Administration) -> Taken:
    return Taken(one.on_date, one.at.value if isinstance(one.at, MealSlot) else one.at, one.dose_mg)


def test_the_label_of_every_timing_says_what_was_ordered(cast: Cast) -> None:
    formulation = validated_for(cast.site.pk, "hydrocortisone", "immediate")
    assert formulation is not None
    for step, more, texts in CASES:
        code = enter_signed(cast, order_request(regimen={"steps": [START | step]}, **more)).code
        said, taken = [], []
        for line in order_facts(code).lines:
            directions = directions_of(line, formulation, 1)
            said.append(directions_words(directions, words=WORDS, micro_word="micrograms"))
            period = period_words(line.starts_on, line.ends_on, WORDS)
            part = supply_words(line.supply, line.supplies, WORDS)
            taken += read(said[-1], f"{period} {part}" if part else period).doses
        assert said == texts
        given = administrations_of(current_version(Order.objects.get(code=code)))
        assert taken == [as_read(one) for one in given]
