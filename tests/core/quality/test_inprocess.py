"""In-process masses: the site's limits under, at and over, and units of a neighbour's zone."""

from __future__ import annotations

import pytest

from dosewright.ground.pure.errors import BadInput
from printing.core.quality.inprocess import FindingKind, MassLimits, ZoneMasses, judge_masses


def _zone(zone: str, predicted: float, *masses: float) -> ZoneMasses:
    measured = {f"{zone}-{place}": mass for place, mass in enumerate(masses)}
    return ZoneMasses(zone=zone, predicted_mg=predicted, measured_mg=measured)


def _kinds(*zones: ZoneMasses) -> list[tuple[str, str | None]]:
    return [(one.kind.value, one.unit) for one in judge_masses(zones).findings]


def test_good_masses_say_nothing():
    verdict = judge_masses([_zone("A", 100.0, 99.0, 101.0, 100.0), _zone("B", 140.0, 141.0)])
    assert verdict.findings == ()
    assert verdict.passed


@pytest.mark.parametrize(("mass", "found"), [(103.0, False), (97.0, False), (103.01, True), (96.99, True)])
def test_line_mean(mass, found):
    verdict = judge_masses([_zone("A", 100.0, mass, mass)])
    assert [one.kind for one in verdict.findings] == [FindingKind.LINE_MEAN] * found
    assert verdict.passed is not found


@pytest.mark.parametrize(
    ("predicted", "limit"), [(80.0, 0.10), (80.01, 0.075), (100.0, 0.075), (250.0, 0.075), (20.0, 0.10)]
)
def test_each_unit(predicted, limit):
    rest = [predicted] * 9
    for sign in (-1, 1):
        at = predicted * (1 + sign * limit)
        over = predicted * (1 + sign * (limit + 1e-6))
        assert _kinds(_zone("A", predicted, *rest, at)) == []
        assert _kinds(_zone("A", predicted, *rest, over)) == [("unit", "A-9")]


def test_two_swapped_units_hold_both_zones():
    verdict = judge_masses([_zone("A", 100.0, *[100.0] * 6, 120.0), _zone("B", 120.0, *[120.0] * 6, 100.0)])
    mixed = [one for one in verdict.findings if one.kind is FindingKind.MIX_UP]
    assert [(one.unit, one.zone, one.other_zone) for one in mixed] == [("A-6", "A", "B"), ("B-6", "B", "A")]
    assert not verdict.passed
    assert mixed[0] in verdict.of_zone("B")
    assert mixed[0] in verdict.of_zone("A")
    assert verdict.of_zone("C") == ()


def test_a_unit_inside_its_own_limit_may_still_fit_a_neighbour_better():
    # 106 is within 7.5 % of 100, but is 6 % from it and 1.9 % from 108.
    verdict = judge_masses([_zone("A", 100.0, *[100.0] * 9, 106.0), _zone("B", 108.0, 108.0)])
    assert [one.kind for one in verdict.findings] == [FindingKind.MIX_UP]


def test_a_light_unit_that_fits_no_neighbour_is_only_light():
    assert _kinds(_zone("A", 100.0, *[100.0] * 9, 88.0), _zone("B", 140.0, 140.0)) == [("unit", "A-9")]


def test_zones_too_alike_are_named_without_failing():
    verdict = judge_masses([_zone("A", 100.0, 100.0), _zone("B", 104.0, 104.0)])
    assert [(one.kind, one.zone, one.other_zone) for one in verdict.findings] == [(FindingKind.ALIKE, "A", "B")]
    assert verdict.passed


def test_limits_are_the_sites():
    wide = MassLimits(line_mean_frac=0.2, unit_frac=0.3)
    assert judge_masses([_zone("A", 100.0, 115.0)], wide).passed
    assert judge_masses([_zone("A", 100.0, 115.0)]).findings[0].source.startswith("(site)")


@pytest.mark.parametrize(
    "zones",
    [
        [],
        [_zone("A", 100.0)],
        [_zone("A", 0.0, 1.0)],
        [_zone("A", 100.0, 0.0)],
        [_zone("A", 100.0, float("nan"))],
        [_zone("A", 100.0, 1.0), _zone("A", 100.0, 1.0)],
        [_zone("A", 100.0, 100.0), ZoneMasses(zone="B", predicted_mg=100.0, measured_mg={"A-0": 100.0})],
    ],
)
def test_masses_that_cannot_be_judged_are_refused(zones):
    with pytest.raises(BadInput):
        judge_masses(zones)
