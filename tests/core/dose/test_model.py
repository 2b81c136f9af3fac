"""The content model against its worked numbers, and its refusals."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from dosewright.ground.pure.errors import BadInput, Blocked
from printing.core.dose.meshes import disc_mesh
from printing.core.dose.model import (
    Geometry,
    Terms,
    content_mg,
    leached_depth_mm,
    loss_frac,
    mass_mg,
    measure_mesh,
    unit_strength_frac,
)
from printing.core.dose.shapes.disc import Disc, disc_radius_mm
from tests.core.dose.standing import TERMS
from tests.core.vectors import load

SIZING = load("sizing")
BARE = Terms(
    unit_strength_frac=0.10,
    density_mg_mm3=1.20,
    bleed_mm=0.0,
    overcure_mm=0.0,
    leached_mm=0.0195441,
    bound_frac=0.0,
    orientation="flat",
    mount="sheet",
)


def _smooth(radius: float, height: float, mount: str = "sheet") -> Geometry:
    return Disc().smooth({"diameter": 2 * radius, "height": height}, mount)


def test_leached_depth():  # S-01
    case = SIZING["leached_depth"]
    for diffusivity, depth in zip(case["diffusivity_m2_s"], case["depth_um"], strict=True):
        assert 1000 * leached_depth_mm(diffusivity, case["wash_s"]) == pytest.approx(depth, rel=case["rtol"])


def test_closed_form_radius():  # S-02
    case = SIZING["cylinder"]
    radius = disc_radius_mm(case["dose_mg"], 103 * 0.05, BARE, mount="sheet")
    assert radius == pytest.approx(case["radius_mm"], abs=case["atol_mm"])
    geometry = _smooth(radius, 5.15)
    assert geometry.slice_volume_mm3 == pytest.approx(case["volume_mm3"], rel=1e-8)
    assert geometry.surface_mm2 == pytest.approx(case["surface_mm2"], rel=1e-8)
    assert content_mg(BARE, geometry) == pytest.approx(50.0, rel=1e-12)


def test_uncompensated_dose():  # S-05
    case = SIZING["uncompensated"]
    content = content_mg(BARE, _smooth(case["radius_mm"], case["radius_mm"]))
    assert content == pytest.approx(case["content_mg"], rel=case["rtol"])


def test_bleed_is_first_order():  # S-06: the exact gain is the model's plus (b/r)^2
    case = SIZING["bleed"]
    radius = case["radius_mm"]
    geometry = _smooth(radius, 5.15)
    plain = replace(BARE, leached_mm=0.0)
    for bleed, gain in zip(case["bleed_mm"], case["gain_percent"], strict=True):
        model = content_mg(replace(plain, bleed_mm=bleed), geometry) / content_mg(plain, geometry) - 1
        assert 100 * (model + (bleed / radius) ** 2) == pytest.approx(gain, rel=case["rtol"])


def test_volume_of_a_dose():
    case = SIZING["volume_of_dose"]
    terms = replace(BARE, unit_strength_frac=case["unit_strength_frac"], leached_mm=0.0)
    volume = case["dose_mg"] / (terms.unit_strength_frac * terms.density_mg_mm3)
    assert volume == pytest.approx(case["volume_mm3"], abs=case["atol"])
    diameter = (8 * volume / math.pi) ** (1 / 3)
    assert diameter == pytest.approx(case["diameter_mm"], abs=case["atol"])
    assert content_mg(terms, _smooth(diameter / 2, diameter / 2)) == pytest.approx(case["dose_mg"], rel=1e-12)


def test_every_term_moves_the_content_as_the_equation_says():
    geometry = measure_mesh(disc_mesh(3.0, 2.4), 50, "necks")
    factor = 0.03 * 1.2 * 0.99
    kept = (
        geometry.slice_volume_mm3
        + 0.02 * geometry.perimeter_layer_mm2
        + 0.05 * geometry.facing_mm2
        - 0.0195 * geometry.surface_mm2
    )
    assert content_mg(TERMS, geometry) == pytest.approx(factor * kept, rel=1e-12)
    assert mass_mg(TERMS, geometry) == pytest.approx(1.2 * (kept + 0.0195 * geometry.surface_mm2), rel=1e-12)


def test_unit_strength_is_that_of_the_finished_unit():
    assert unit_strength_frac(100.0, 1.25) == 0.125  # science reference 1.2: 20 % water dries off
    for strength, factor in ((0.0, 1.0), (100.0, 0.0), (900.0, 1.2), (math.nan, 1.0), (100.0, math.inf)):
        with pytest.raises(BadInput):
            unit_strength_frac(strength, factor)


def test_a_predicted_loss_over_a_tenth_is_refused():
    geometry = _smooth(3.0, 2.0)
    edge = 0.10 * geometry.slice_volume_mm3 / geometry.surface_mm2
    assert loss_frac(replace(BARE, leached_mm=edge * 0.999999), geometry) < 0.10
    content_mg(replace(BARE, leached_mm=edge * 0.999999), geometry)
    with pytest.raises(Blocked) as refused:
        content_mg(replace(BARE, leached_mm=edge * 1.000001), geometry)
    assert refused.value.refusals[0].limit == "0.1"


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("unit_strength_frac", 0.0),
        ("unit_strength_frac", 1.01),
        ("density_mg_mm3", 0.0),
        ("overcure_mm", -0.01),
        ("leached_mm", -0.01),
        ("leached_mm", math.nan),
        ("bound_frac", 1.0),
        ("bleed_mm", 1.5),
        ("orientation", "sideways"),
        ("mount", "glue"),
    ],
)
def test_terms_outside_their_ranges_are_refused(field, value):
    with pytest.raises(BadInput) as refused:
        replace(TERMS, **{field: value})
    assert refused.value.refusals[0].field == field


def test_no_radius_where_the_depleted_skins_meet():
    with pytest.raises(BadInput):
        disc_radius_mm(50.0, 0.03, BARE, mount="sheet")
