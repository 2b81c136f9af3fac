"""Spares against the binomial distribution, grouping, and which doses are tested."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from scipy.stats import binom

from dosewright.ground.pure.errors import BadInput
from printing.core.layout.batching import extreme_line, group_lines, spares_for
from tests.core.layout.workloads import line
from tests.core.vectors import load

SPARES = load("layout")["spares"]
BY_HAND = load("layout")["spares_by_hand"]["cases"]


@pytest.mark.parametrize("reject", SPARES["reject_frac"])
@pytest.mark.parametrize("count", SPARES["count"])
def test_spares_are_the_fewest_that_are_likely_enough(count: int, reject: str) -> None:
    spares = spares_for(count, Decimal(reject), at_least=0)

    def likely(extra: int) -> float:
        return float(binom.sf(count - 1, count + extra, 1 - float(reject)))

    wanted = float(SPARES["likelihood"])
    assert likely(spares) >= wanted - 1e-12
    assert spares == 0 or likely(spares - 1) < wanted


@pytest.mark.parametrize(("count", "reject", "spares"), BY_HAND)
def test_spares_by_hand(count: int, reject: str, spares: int) -> None:
    assert spares_for(count, Decimal(reject)) == spares


@pytest.mark.parametrize(("count", "reject"), [(0, "0.05"), (-1, "0.05"), (5, "-0.01"), (5, "0.51"), (5, "NaN")])
def test_spares_refuse_what_is_no_count_or_rate(count: int, reject: str) -> None:
    with pytest.raises(BadInput):
        spares_for(count, Decimal(reject))


@pytest.mark.parametrize("wrong", [{"likelihood": Decimal(1)}, {"likelihood": Decimal(0)}, {"at_least": -1}])
def test_spares_refuse_certainty(wrong: dict[str, Any]) -> None:
    with pytest.raises(BadInput):
        spares_for(5, **wrong)


@pytest.mark.parametrize(
    "difference",
    [{"formulation": "FM-B"}, {"lot": "RN-B"}, {"profile": "PF-B"}, {"mount": "sheet"}, {"layer_um": 100}],
)
def test_lines_that_differ_in_one_thing_never_share_a_plate(difference: dict[str, str]) -> None:
    groups = group_lines([line(2), line(1), line(3, **difference)])
    assert sorted([one.code for one in group.lines] for group in groups) == sorted(
        [[line(1).code, line(2).code], [line(3).code]]
    )


def test_the_order_of_lines_does_not_change_the_groups() -> None:
    lines = [line(3), line(1), line(2, lot="RN-B")]
    assert group_lines(lines) == group_lines(lines[::-1])


def test_the_extremes_go_by_dose_not_by_size() -> None:
    small = line(1, dose_mg=Decimal("2.5"), footprint_um=(9_000, 9_000))
    large = line(2, dose_mg=Decimal("10"), footprint_um=(5_000, 5_000))
    assert extreme_line([large, small], "smallest") is small
    assert extreme_line([large, small], "largest") is large


def test_equal_doses_are_settled_by_code() -> None:
    one, two = line(1, dose_mg=Decimal(5)), line(2, dose_mg=Decimal("5.0"))
    assert extreme_line([two, one], "smallest") is one
    assert extreme_line([two, one], "largest") is one
