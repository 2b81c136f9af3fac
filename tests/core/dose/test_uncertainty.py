"""The budget against the worked example of JCGM 100, and its two parts kept apart."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from dosewright.ground.pure.errors import BadInput
from printing.core.dose.content_budget import content_budget
from printing.core.dose.model import content_mg
from printing.core.dose.uncertainty import (
    INDEPENDENT,
    Input,
    combine_contributions,
    coverage_factor,
    isotropic_dose_factor,
    uncertainty_budget,
)
from printing.core.dose.unit import size_unit
from tests.core.dose.standing import DESIGN, TERMS, UNCERTAINTY
from tests.core.vectors import load

VECTORS = load("uncertainty")


def _cylinder(values):
    volume = math.pi * values["r"] ** 2 * values["h"]
    surface = math.tau * values["r"] * (values["r"] + values["h"])
    return values["w"] * values["rho"] * (volume - surface * values["d"])


def _inputs():
    return [
        Input(
            name=row["name"],
            value=row["value"],
            standard_uncertainty=row["u"],
            unit="",
            degrees_of_freedom=row["dof"],
        )
        for row in VECTORS["budget"]["input"]
    ]


def test_cube_law():  # S-15
    case = VECTORS["cube_law"]
    for linear, dose in zip(case["linear_percent"], case["dose_percent"], strict=True):
        found = 100 * (isotropic_dose_factor(linear / 100) - 1)
        assert found == pytest.approx(dose, abs=max(case["atol_percent"], 5e-5))
    assert isotropic_dose_factor(0.02) == pytest.approx(1.061208, abs=1e-15)
    with pytest.raises(BadInput):
        isotropic_dose_factor(-1.0)


def test_budget_of_the_worked_cylinder():  # S-16
    case = VECTORS["budget"]
    budget = uncertainty_budget(_cylinder, _inputs())
    assert budget.value == pytest.approx(case["value_mg"], rel=1e-7)
    assert budget.combined == pytest.approx(case["combined_mg"], rel=case["rtol"])
    assert 100 * budget.combined / budget.value == pytest.approx(case["combined_percent"], rel=case["rtol"])
    for row, given in zip(budget.rows, case["input"], strict=True):
        assert row.sensitivity * row.value / budget.value == pytest.approx(given["relative_sensitivity"], abs=1e-6)
        assert row.contribution == pytest.approx(given["contribution_mg"], abs=1e-6)
    assert sum(row.share_frac for row in budget.rows) == pytest.approx(1.0)


def test_effective_degrees_of_freedom():  # S-18
    case = VECTORS["budget"]
    budget = uncertainty_budget(_cylinder, _inputs())
    assert budget.effective_degrees_of_freedom == pytest.approx(case["effective_dof"], rel=case["dof_rtol"])
    assert budget.coverage_factor == pytest.approx(coverage_factor(28), rel=1e-12)
    assert budget.expanded == pytest.approx(budget.combined * budget.coverage_factor)


def test_splitting_averages_the_independent_part_only():
    case = VECTORS["split"]
    rows = [
        {"name": "common", "contribution": case["systematic"]},
        {"name": "each", "contribution": case["independent"], "kind": INDEPENDENT},
    ]
    for units, combined in zip(case["units"], case["combined"], strict=True):
        budget = combine_contributions(100.0, rows, units)
        assert budget.combined == pytest.approx(combined, abs=case["atol"])
        assert (budget.systematic, budget.independent) == (case["systematic"], case["independent"])


def test_coverage_factors():
    case = VECTORS["coverage"]
    for dof, factor in zip(case["dof"], case["factor"], strict=True):
        assert coverage_factor(dof) == pytest.approx(factor, abs=case["atol"])
    assert coverage_factor(math.inf) == pytest.approx(case["normal"], abs=1e-12)
    student = VECTORS["student"]
    assert coverage_factor(student["dof"], 0.95) == pytest.approx(student["factor"], abs=student["atol"])
    assert coverage_factor(28.9) == coverage_factor(28)  # JCGM 100 G.4.1: truncated
    with pytest.raises(BadInput):
        coverage_factor(0.5)


def test_budget_agrees_with_random_trials():
    # JCGM 101 in small: 2e5 seeded trials of the worked cylinder; SD 0.72424 (science reference 3.3).
    import numpy as np

    draw = np.random.default_rng(20240)
    values = {one.name: draw.normal(one.value, one.standard_uncertainty, 200_000) for one in _inputs()}
    assert _cylinder(values).std(ddof=1) == pytest.approx(uncertainty_budget(_cylinder, _inputs()).combined, rel=0.01)


def test_budget_of_a_sized_unit_by_hand():
    unit = size_unit(2.5, DESIGN, TERMS)
    geometry, content = unit.geometry, unit.content_mg
    budget = content_budget(TERMS, geometry, units=1)
    rows = {row.name: row for row in budget.rows}
    factor = TERMS.unit_strength_frac * TERMS.density_mg_mm3 * (1 - TERMS.bound_frac)
    assert rows["unit_strength_frac"].contribution == pytest.approx(content * 0.0002 / 0.03)
    assert rows["density_mg_mm3"].contribution == pytest.approx(content * 0.005 / 1.2)
    assert rows["bleed_mm"].contribution == pytest.approx(factor * 0.005 * geometry.perimeter_layer_mm2)
    assert rows["overcure_mm"].contribution == pytest.approx(factor * 0.01 * geometry.facing_mm2)
    assert rows["leached_mm"].contribution == pytest.approx(factor * 0.004 * geometry.surface_mm2)
    assert rows["bound_frac"].contribution == pytest.approx(content / (1 - TERMS.bound_frac) * 0.001)
    assert rows["outline_scatter_mm"].contribution == pytest.approx(factor * 0.01 * geometry.perimeter_layer_mm2)
    assert rows["height_scatter_mm"].contribution == pytest.approx(factor * 0.01 * geometry.section_mm2)
    assert rows["strength_scatter_frac"].contribution == pytest.approx(content * 0.005)
    assert budget.combined == pytest.approx(math.hypot(budget.systematic, budget.independent))
    assert content_budget(TERMS, geometry, units=4).combined < budget.combined
    assert content_mg(TERMS, geometry) == content


def test_a_budget_without_uncertainties_is_refused():
    unit = size_unit(2.5, DESIGN, TERMS)
    with pytest.raises(BadInput):
        content_budget(replace(TERMS, uncertainty=None), unit.geometry, units=1)
    assert UNCERTAINTY.degrees_of_freedom["unit_strength_frac"] == 9


@pytest.mark.parametrize(
    ("value", "rows", "units"),
    [
        (0.0, [{"name": "a", "contribution": 1.0}], 1),
        (math.nan, [{"name": "a", "contribution": 1.0}], 1),
        (1.0, [], 1),
        (1.0, [{"name": "a", "contribution": -1.0}], 1),
        (1.0, [{"name": "a", "contribution": math.nan}], 1),
        (1.0, [{"name": "a", "contribution": 1.0, "kind": "other"}], 1),
        (1.0, [{"name": "a", "contribution": 1.0, "degrees_of_freedom": 0}], 1),
        (1.0, [{"name": "a", "contribution": 1.0}], 0),
        (1.0, [{"name": "a", "contribution": 1.0}], True),
    ],
)
def test_bad_budgets_are_refused(value, rows, units):
    with pytest.raises(BadInput):
        combine_contributions(value, rows, units)


def test_an_input_named_twice_is_refused():
    with pytest.raises(BadInput):
        uncertainty_budget(_cylinder, [*_inputs(), _inputs()[0]])


def test_an_exact_input_adds_nothing_but_shows_its_sensitivity():
    exact = replace(_inputs()[0], standard_uncertainty=0.0)
    row = uncertainty_budget(_cylinder, [exact, *_inputs()[1:]]).rows[0]
    assert row.contribution == 0.0
    assert row.sensitivity == pytest.approx(500.0, rel=1e-6)
