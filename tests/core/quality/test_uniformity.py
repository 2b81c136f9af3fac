"""Uniformity against the harmonised test's published examples."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dosewright.ground.pure.errors import BadInput
from printing.core.exact import sample_sd
from printing.core.quality.probability import uniformity_probability
from printing.core.quality.uniformity import (
    ACCEPTABILITY,
    L1,
    L2,
    acceptance_value,
    content_of_units,
    content_uniformity,
    contents_by_mass,
    mass_class_percent,
    mass_uniformity,
    round_half_up,
    weight_variation_allowed,
)
from tests.core.vectors import load

VECTORS = load("quality")


def test_constants():
    case = VECTORS["constants"]
    assert {int(n): Decimal(k) for n, k in case["k"].items()} == ACCEPTABILITY
    assert (str(L1), str(L2)) == (case["l1"], case["l2"])


def test_faq_example():  # S-69
    case = VECTORS["faq"]
    found = acceptance_value(case["mean"], case["sd"], case["n"])
    assert found.value == Decimal(case["value"])
    assert not found.within_l1
    assert found.reference == Decimal(case["reference"])
    assert found.individual_limits == tuple(Decimal(one) for one in case["limits"])


def test_boundary_passes():
    case = VECTORS["boundary"]
    found = acceptance_value(case["mean"], case["sd"], case["n"])
    assert found.value == Decimal(case["value"])
    assert found.within_l1


@pytest.mark.parametrize("case", VECTORS["acceptance"], ids=lambda case: case["id"])
def test_acceptance_values(case):  # S-70
    result = content_uniformity(case["contents"], case["target"])
    found = result.acceptance
    assert float(found.mean) == pytest.approx(case["mean"], abs=1e-9)
    assert float(found.sd) == pytest.approx(case["sd"], abs=1e-6)
    assert float(found.reference) == pytest.approx(case["reference"], abs=1e-9)
    assert float(found.value) == pytest.approx(case["value"], abs=1e-4)
    assert result.verdict == case["verdict"]


@pytest.mark.parametrize(("value", "rounded", "passes"), [("15.04", "15.0", True), ("15.05", "15.1", False)])
def test_rounding_is_half_up_before_comparing(value, rounded, passes):
    # USP General Notices 7.20 [memory].  Mean 98.5 makes the value 2.4 s.
    found = acceptance_value("98.5", Decimal(value) / Decimal("2.4"), 10)
    assert str(round_half_up(value)) == rounded
    assert (str(found.rounded), found.within_l1) == (rounded, passes)
    assert str(round_half_up(15.05)) == "15.1"  # by the shortest text of the float, not by its bits


def test_stage_two_looks_at_every_unit():
    steady = [100] * 29
    assert content_uniformity([*steady, 76]).verdict == "passed"
    lost = content_uniformity([*steady, 74])
    assert lost.acceptance.within_l1
    assert lost.verdict == "failed"
    assert lost.outside == (Decimal(74),)
    assert content_uniformity([*steady, 126.5]).verdict == "failed"


def test_stage_one_does_not_apply_the_individual_limits():
    # [memory], consistent with USP FAQ Q2: nine at 100 and one at 80 still passes on its acceptance value.
    assert content_uniformity([100] * 9 + [74]).stage == 1
    assert content_uniformity([100] * 9 + [85]).verdict == "passed"


@given(st.lists(st.integers(60, 140), min_size=10, max_size=10))
def test_the_value_is_never_less_than_the_spread(contents):
    found = content_uniformity(contents).acceptance
    assert found.value >= found.k * found.sd
    assert Decimal("98.5") <= found.reference <= Decimal("101.5")


def test_weight_variation():
    case = VECTORS["weight_variation"]
    contents = contents_by_mass(case["masses_mg"], case["assay_percent"])
    assert [float(one) for one in contents] == pytest.approx(case["contents"], abs=1e-4)
    assert float(content_uniformity(contents).acceptance.value) == pytest.approx(case["value"], abs=1e-4)


def test_when_weight_variation_is_allowed():
    case = VECTORS["weight_variation_rule"]
    rows = zip(case["drug_mg"], case["unit_mg"], case["rsd_percent"], case["allowed"], strict=True)
    for drug, unit, rsd, allowed in rows:
        assert weight_variation_allowed(drug, unit, concentration_rsd_percent=rsd or None) is allowed
    assert not weight_variation_allowed(50, 100, tablet=False, concentration_rsd_percent="1")
    with pytest.raises(BadInput):
        weight_variation_allowed(101, 100)


def test_mass_classes():
    case = VECTORS["mass_class"]
    for mass, limit in zip(case["mean_mg"], case["limit_percent"], strict=True):
        assert mass_class_percent(mass) == Decimal(limit)


def test_mass_uniformity():
    case = VECTORS["mass"]
    common = [case["common_mg"]] * case["common"]
    found = mass_uniformity([*common, *case["others_mg"]])
    assert (found.verdict, len(found.beyond), found.mean_mg) == ("passed", case["beyond"], 100)
    assert mass_uniformity([*common, *case["failing_others_mg"]]).verdict == "failed"
    twice = mass_uniformity([100] * 18 + [115.5, 84.5])
    assert twice.verdict == "failed"
    assert len(twice.beyond) == 2
    assert len(twice.beyond_twice) == 2
    assert mass_uniformity([100] * 18 + [115, 85]).verdict == "passed"


def test_content_against_the_average():
    case = VECTORS["content_of_units"]
    assert content_of_units(case["contents_mg"], test="A") == case["test_a"]
    assert content_of_units(case["contents_mg"], test="B") == case["test_b"]
    even = ["5"] * 20
    assert content_of_units([*case["contents_mg"], *even], test="A") == "passed"
    assert content_of_units([*case["contents_mg"], *even[1:], "4"], test="A") == "failed"
    assert content_of_units(["5"] * 9 + ["3"], test="B") == "failed"
    assert content_of_units(["5"] * 10) == "passed"


@pytest.mark.parametrize(
    "act",
    [
        lambda: content_uniformity([100] * 9),
        lambda: content_uniformity([100] * 20),
        lambda: content_uniformity([100] * 9 + [-1]),
        lambda: content_uniformity([100] * 9 + [float("nan")]),
        lambda: content_uniformity([100] * 9 + ["a lot"]),
        lambda: content_uniformity([100] * 9 + [True]),
        lambda: acceptance_value(100, 1, 20),
        lambda: acceptance_value(100, -1, 10),
        lambda: acceptance_value(0, 1, 10),
        lambda: mass_uniformity([100] * 19),
        lambda: mass_uniformity([100] * 19 + [0]),
        lambda: content_of_units(["5"] * 11),
        lambda: content_of_units(["5"] * 10, test="C"),
        lambda: contents_by_mass([], 100),
        lambda: uniformity_probability(100, -1),
        lambda: uniformity_probability(float("nan"), 1),
    ],
)
def test_what_is_no_sample_is_refused(act):
    with pytest.raises(BadInput):
        act()


def test_chances_of_passing():  # S-71
    case = VECTORS["probability"]
    rows = zip(case["mean"], case["sd"], case["stage_one"], case["lower_bound"], strict=True)
    for mean, sd, stage_one, bound in rows:
        assert uniformity_probability(mean, sd) == pytest.approx((stage_one, bound), abs=case["atol"])


def test_the_bound_is_below_the_simulated_chance():  # S-72
    case = VECTORS["monte_carlo"]
    for mean, sd, passing in zip(case["mean"], case["sd"], case["passing"], strict=True):
        assert uniformity_probability(mean, sd)[1] <= passing + case["atol"]


def test_largest_spread_that_meets_the_bound():  # S-73
    from scipy.optimize import brentq

    case = VECTORS["largest_sd"]
    for mean, sd in zip(case["mean"], case["sd"], strict=True):
        found = brentq(lambda s, m=mean: uniformity_probability(m, s)[1] - 0.95, 1.0, 9.0, xtol=1e-8)
        assert found == pytest.approx(sd, abs=case["atol"])


def test_no_spread_passes_or_fails_outright():
    assert uniformity_probability(100, 0) == (1.0, 1.0)
    assert uniformity_probability(80, 0) == (0.0, 0.0)
    assert all(one == pytest.approx(1.0, abs=1e-12) and one <= 1.0 for one in uniformity_probability(100, 0.01))


def test_one_content_has_no_deviation():
    with pytest.raises(BadInput):
        sample_sd([Decimal(1)])
