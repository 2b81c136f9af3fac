"""Every check fails where it should: under, at and over its limit."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from printing.core.dose.limits import IntakeLimit, Patient, SiteLimits
from printing.core.dose.sizing import DoseNotPossible, size_dose
from printing.core.dose.tolerance import (
    age_band_check,
    deviation_check,
    intake_check,
    swollen_check,
    uniformity_lower_bound,
    units_check,
)
from printing.core.dose.uncertainty import combine_contributions
from tests.core.dose.standing import AGAINST, TERMS, UNCERTAINTY, VALIDATED, request
from tests.core.vectors import load

SIZING = load("sizing")


def _against(**changes):
    return replace(AGAINST, **changes)


def _site(**changes):
    return _against(site=replace(SiteLimits(), **changes))


def _blocks(against=AGAINST, dose="2.5", terms=TERMS) -> set[str]:
    with pytest.raises(DoseNotPossible) as refused:
        size_dose(request(dose, against=against, terms=terms, units_per_dose=1))
    return {one.field for one in refused.value.refusals}


def _check(name: str, against=AGAINST, dose="2.5"):
    sized = size_dose(request(dose, against=against, units_per_dose=1))
    return next(one for one in sized.checks if one.name == name)


def test_a_standing_request_passes_every_check():
    sized = size_dose(request("2.5"))
    assert {one.verdict for one in sized.checks} == {"pass"}
    assert len({one.name for one in sized.checks}) == len(sized.checks) == 13


@pytest.mark.parametrize(("narrow", "limit"), [(False, 0.01), (True, 0.005)])
def test_deviation(narrow, limit):
    against = _against(narrow_index=narrow)
    for sign in (-1, 1):
        assert deviation_check(sign * limit, against).verdict == "pass"
        assert deviation_check(sign * (limit + 1e-9), against).verdict == "block"


@pytest.mark.parametrize(("name", "outline"), [("size_gates", "oblong"), ("round_gates", "round")])
def test_largest_swollen_dimension(name, outline):
    case = SIZING[name]
    for swollen, verdict in zip(case["swollen_mm"], case["verdict"], strict=True):
        assert swollen_check(outline, swollen, SiteLimits()).verdict == verdict


def test_swelling_is_counted():
    assert _check("largest swollen dimension").value == pytest.approx(
        1.05 * size_dose(request("2.5")).unit.finished_mm["diameter"]
    )
    assert _blocks(_against(swelling_frac=1.3)) == {"largest swollen dimension"}


def test_age_bands_advise():
    case = SIZING["age_bands"]
    for age, most in zip(case["age_years"], case["most_mm"], strict=True):
        at, over = age_band_check(most, age), age_band_check(most + 0.01, age)
        assert over.verdict == "reason"
        assert over.source == "EMA draft 2011 size bands (advisory)"
        assert at.verdict == ("pass" if most else "reason")
    assert age_band_check(20.0, 18.0) is None
    child = _against(patient=Patient(age_years=3.0))
    assert _check("size for age", child).verdict == "reason"


def test_the_patients_own_limit_blocks():
    swollen = _check("largest swollen dimension").value
    at = _against(patient=Patient(age_years=40.0, own_size_limit_mm=swollen))
    assert _check("patient's own size limit", at).verdict == "pass"
    under = _against(patient=Patient(age_years=40.0, own_size_limit_mm=swollen - 0.01))
    assert _blocks(under) == {"patient's own size limit"}


@pytest.mark.parametrize(
    ("units", "age", "verdict"),
    [
        (3, 40, "pass"),
        (4, 40, "reason"),
        (5, 40, "block"),
        (2, 11.9, "pass"),
        (3, 11.9, "block"),
        (3, 12, "pass"),
        (2, None, "pass"),
        (3, None, "reason"),
        (5, None, "block"),
    ],
)
def test_units_per_dose(units, age, verdict):
    assert units_check(units, _against(patient=Patient(age_years=age))).verdict == verdict


@pytest.mark.parametrize(
    ("name", "changes"),
    [
        ("validated dose per unit", {"dose_mg": (Decimal("2.51"), Decimal(5))}),
        ("validated dose per unit", {"dose_mg": (Decimal(1), Decimal("2.49"))}),
        ("validated diameter", {"size_mm": {"diameter": (3.0, 6.0), "height": (1.0, 4.0)}}),
        ("validated height", {"size_mm": {"diameter": (3.0, 9.0), "height": (1.0, 2.0)}}),
        ("validated height", {"size_mm": {"diameter": (3.0, 9.0)}}),
        ("validated surface to volume", {"surface_to_volume_mm": (0.5, 1.0)}),
        ("validated surface to volume", {"surface_to_volume_mm": (2.0, 3.0)}),
    ],
)
def test_what_was_not_studied_blocks_patients_and_asks_a_reason_in_development(name, changes):
    narrowed = _against(validated=replace(VALIDATED, **changes))
    assert _blocks(narrowed) == {name}
    assert _check(name, replace(narrowed, development=True)).verdict == "reason"


def test_the_ends_of_the_dose_range_are_inside():
    exact = _against(validated=replace(VALIDATED, dose_mg=(Decimal("2.5"), Decimal("2.5"))))
    assert _check("validated dose per unit", exact).verdict == "pass"


def test_nothing_validated_blocks_patients():
    assert _blocks(_against(validated=None)) == {"validated dose per unit"}
    assert _check("validated dose per unit", _against(validated=None, development=True)).verdict == "reason"


@pytest.mark.parametrize(
    ("name", "at", "over"),
    [
        ("layers", {"least_layers": 48}, {"least_layers": 49}),
        ("least dimension", {"least_mm": 2.4}, {"least_mm": 2.6}),
        ("smallest feature against the laser spot", {"feature_spots": 17.0}, {"feature_spots": 18.0}),
        ("expanded uncertainty of content", {"expanded_frac": 0.03}, {"expanded_frac": 0.02}),
    ],
)
def test_printable_and_certain(name, at, over):
    assert _check(name, _site(**at)).verdict == "pass"
    assert _blocks(_site(**over)) == {name}


def test_a_narrow_index_tightens_the_uncertainty():
    wide = replace(TERMS, uncertainty=replace(UNCERTAINTY, unit_strength_frac=0.0004))
    size_dose(request("2.5", terms=wide))
    assert _blocks(_against(narrow_index=True), terms=wide) == {"expanded uncertainty of content"}


def test_unstated_uncertainties_block():
    unstated = replace(TERMS, uncertainty=None)
    names = {"expanded uncertainty of content", "chance of meeting the uniformity test, lower bound"}
    assert _blocks(terms=unstated) == names


def test_a_wide_scatter_fails_the_uniformity_bound():
    scattered = replace(TERMS, uncertainty=replace(UNCERTAINTY, strength_scatter_frac=0.065))
    assert "chance of meeting the uniformity test, lower bound" in _blocks(_site(expanded_frac=1.0), terms=scattered)


def test_the_uniformity_bound_takes_the_worse_end_of_the_mean():
    rows = [{"name": "each", "contribution": 5.0, "kind": "independent"}]
    alone = uniformity_lower_bound(100.0, 100.0, combine_contributions(100.0, rows))
    shifted = combine_contributions(100.0, [*rows, {"name": "common", "contribution": 2.5}])
    # Systematic 2.5 % at k = 2 puts the mean at 95 %: science reference 11.5 gives 0.839595 there.
    assert alone == pytest.approx(0.999810, abs=1e-5)
    assert uniformity_lower_bound(100.0, 100.0, shifted) == pytest.approx(0.839595, abs=1e-4)


def _intake(**changes):
    base = {"residue": "2-propanol", "content_frac": 0.005, "doses_per_day": 3.0, "source": "ICH Q3C(R8)"}
    return IntakeLimit(**(base | changes))


def test_daily_intake_in_all_and_per_kg():
    # 100 mg x 0.005 x 3 = 1.5 mg/day
    adult = _against(patient=Patient(age_years=40.0, weight_kg=60.0))
    assert intake_check(100.0, _intake(limit_mg_day=1.5), adult).verdict == "pass"
    assert intake_check(100.0, _intake(limit_mg_day=1.49), adult).verdict == "block"
    assert intake_check(100.0, _intake(limit_mg_day=1.5, other_mg_day=0.1), adult).verdict == "block"
    assert intake_check(100.0, _intake(limit_mg_kg_day=0.025), adult).verdict == "pass"
    assert intake_check(100.0, _intake(limit_mg_kg_day=0.0249), adult).verdict == "block"
    both = intake_check(100.0, _intake(limit_mg_kg_day=1.0, limit_mg_day=1.2), adult)
    assert both.verdict == "block"
    assert both.limit == pytest.approx(0.02)


def test_a_limit_per_kg_without_a_weight_blocks_and_so_does_no_limit():
    unknown = intake_check(100.0, _intake(limit_mg_kg_day=1.0), AGAINST)
    assert unknown.verdict == "block"
    assert "no weight" in unknown.note
    assert intake_check(100.0, _intake(), AGAINST).verdict == "block"
    assert "daily intake of 2-propanol" in _blocks(_against(intakes=(_intake(limit_mg_kg_day=1.0),)))


def test_limits_say_where_they_come_from():
    assert deviation_check(0.0, AGAINST).source == "(site) common practice or judgement, no source"
