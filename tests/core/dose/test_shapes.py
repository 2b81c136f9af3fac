"""Every shape, orientation and rule: the written mesh is closed, holds the dose, and is the body of the closed form."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dosewright.ground.pure.errors import BadInput, Blocked
from printing.core.dose.meshes import is_closed, surface_mm2, volume_mm3
from printing.core.dose.model import measure_mesh, unchecked_content_mg, unit_content
from printing.core.dose.sections import sections
from printing.core.dose.shapes import EVERY_SHAPE, SHAPES, Design, shape_named
from printing.core.dose.shapes.biconvex import biconvex_volume_surface, cap_depth_mm
from printing.core.dose.shapes.capsule import capsule_volume_surface
from printing.core.dose.shapes.ring import ring_volume_surface
from printing.core.dose.shapes.spheroid import spheroid_volume_surface
from printing.core.dose.solving import solve_smooth
from printing.core.dose.unit import size_unit, sketch_unit
from tests.core.dose.shape_cases import EVERY_FORM, EVERY_WAY, design_of, terms_of
from tests.core.dose.standing import TERMS
from tests.core.dose.test_model import BARE
from tests.core.vectors import load

FORMS, SIZING = load("shapes"), load("sizing")
FUNCTIONS = {
    "ring": (ring_volume_surface, ("centre_mm", "tube_mm")),
    "spheroid": (spheroid_volume_surface, ("across_mm", "along_mm")),
    "capsule": (capsule_volume_surface, ("radius_mm", "straight_mm")),
    "biconvex": (biconvex_volume_surface, ("radius_mm", "band_mm", "cap_mm")),
}
DRAWN = {
    ("ring", "flat"): {"diameter": 12.0, "tube": 4.0, "hole": 4.0},
    ("spheroid", "flat"): {"diameter": 6.0, "height": 4.0},
    ("spheroid", "standing"): {"diameter": 4.0, "height": 6.0},
    ("spheroid", "lying"): {"diameter": 4.0, "length": 6.0},
    ("capsule-shaped", "lying"): {"length": 14.0, "diameter": 6.0},
    ("capsule-shaped", "standing"): {"length": 14.0, "diameter": 6.0},
    ("biconvex", "flat"): {"diameter": 10.0, "height": 5.4, "band": 3.0, "cap_radius": 11.016666666666667},
    ("biconvex", "upright"): {"diameter": 10.0, "thickness": 5.4, "band": 3.0, "cap_radius": 11.016666666666667},
    ("disc", "flat"): {"diameter": 8.0, "height": 5.0},
    ("mini-units", "flat"): {"diameter": 2.0, "height": 1.5},
    ("disc", "upright"): {"diameter": 8.0, "thickness": 5.0},
}
"""Bodies whose volume and surface the vectors state (S-07 to S-12)."""


@pytest.mark.parametrize(
    ("name", "case"), [(name, case) for name in FUNCTIONS for case in FORMS[name]], ids=lambda value: str(value)[:12]
)
def test_closed_forms(name, case):  # S-08 to S-12
    function, inputs = FUNCTIONS[name]
    volume, surface = function(*(case[one] for one in inputs))
    assert volume == pytest.approx(case["volume_mm3"], rel=case["rtol"])
    assert surface == pytest.approx(case["surface_mm2"], rel=case["rtol"])


def test_a_cap_s_depth_and_radius_belong_together():  # S-11
    case = FORMS["biconvex"][0]
    assert cap_depth_mm(2 * case["radius_mm"], case["cap_radius_mm"]) == pytest.approx(case["cap_mm"], abs=1e-6)
    with pytest.raises(BadInput):
        cap_depth_mm(10.0, 4.9)


def test_a_shape_is_drawn_in_each_of_its_orientations_once():
    assert len(SHAPES) == len(EVERY_SHAPE) == len(DRAWN)
    assert {one for _, one in SHAPES} == {"flat", "upright", "lying", "standing"}
    with pytest.raises(BadInput) as refused:
        shape_named("ring", "upright")
    assert refused.value.refusals[0].accepted == "flat"
    with pytest.raises(BadInput) as refused:
        shape_named("cube", "flat")
    assert "ring" in refused.value.refusals[0].accepted


@pytest.mark.parametrize(("name", "orientation"), EVERY_FORM)
def test_the_mesh_is_the_body_of_the_closed_form(name, orientation):
    shape, drawn = SHAPES[name, orientation], DRAWN[name, orientation]
    smooth, mesh = shape.smooth(drawn, "necks"), shape.mesh(drawn)
    assert is_closed(mesh)
    # Single vertices take up what rounding leaves: a part in 10^8 at worst (a plain 128-gon would lose 4 in 10^4).
    assert volume_mm3(mesh) == pytest.approx(smooth.mesh_volume_mm3, rel=2e-8)
    assert surface_mm2(mesh) == pytest.approx(smooth.surface_mm2, rel=1e-3)
    written = measure_mesh(mesh, 50, "necks")
    assert written.perimeter_layer_mm2 == pytest.approx(smooth.perimeter_layer_mm2, rel=1.5e-3)
    assert written.facing_mm2 == pytest.approx(smooth.facing_mm2, rel=2e-3)
    assert mesh.extent_mm[2] == pytest.approx(shape.height_mm(drawn), abs=1e-12)
    assert mesh.vertices_nm[:, 2].min() == 0
    assert np.abs(mesh.vertices_mm.max(axis=0)[:2] + mesh.vertices_mm.min(axis=0)[:2]).max() <= 1.1e-6
    if shape.footprint == "round":  # what the corners took is given back on all sides alike
        assert mesh.extent_mm[0] == pytest.approx(mesh.extent_mm[1], abs=2e-6)
    # Corners stand out of the smooth body by a few micrometres where others cut it.
    assert max(mesh.extent_mm) == pytest.approx(
        max(drawn.get(n, 0) for n in ("diameter", "length", "height")), abs=0.013
    )


@pytest.mark.parametrize(("name", "orientation"), EVERY_FORM)
def test_finer_layers_come_nearer_to_the_closed_form(name, orientation):
    shape, drawn = SHAPES[name, orientation], DRAWN[name, orientation]
    smooth, mesh = shape.smooth(drawn, "necks"), shape.mesh(drawn)
    off = {
        layer_um: abs(sections(mesh, layer_um).volume_mm3 / smooth.slice_volume_mm3 - 1.0) for layer_um in (100, 50, 25)
    }
    assert off[25] < off[100] < 2e-3 or off[25] < 1e-5
    assert off[25] < 4e-4


@pytest.mark.parametrize(("name", "orientation"), EVERY_FORM)
def test_another_library_agrees_on_the_body(name, orientation):
    import manifold3d
    import trimesh

    mesh = SHAPES[name, orientation].mesh(DRAWN[name, orientation])
    body = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
    assert body.is_volume
    assert body.body_count == 1
    assert body.euler_number == (0 if name == "ring" else 2)
    assert body.volume == pytest.approx(volume_mm3(mesh), rel=1e-12)
    assert body.area == pytest.approx(surface_mm2(mesh), rel=1e-12)
    solid = manifold3d.Manifold(manifold3d.Mesh64(mesh.vertices_mm.copy(), mesh.faces.astype(np.uint64)))
    cut = sections(mesh, 10)
    for layer in (cut.layers // 5, cut.layers // 2):
        section = solid.slice((layer + 0.5) * 0.01)
        assert section.num_contour() == (2 if name == "ring" else 1)
        assert section.area() == pytest.approx(cut.area_mm2[layer], rel=1e-6)
        outlines = [np.asarray(one) for one in section.to_polygons()]
        length = sum(np.linalg.norm(np.roll(one, -1, axis=0) - one, axis=1).sum() for one in outlines)
        assert length == pytest.approx(cut.perimeter_mm[layer], rel=1e-6)


@pytest.mark.parametrize(("name", "orientation", "rule"), EVERY_WAY)
def test_the_written_unit_holds_the_dose_in_whole_layers(name, orientation, rule):
    unit = size_unit(4.0, design_of(name, orientation, rule), terms_of(orientation))
    # By fixed_section the nearest layer is all there is: half a layer of at least 80.
    assert unit.content_mg == pytest.approx(4.0, rel=1 / 160 if rule == "fixed_section" else 2e-9)
    assert round(unit.height_mm * 1000, 6) == unit.layers * 50
    shown = unit.as_dict()
    content = unit_content(surface_mm2=shown["surface_mm2"], **shown["model"])
    assert content == pytest.approx(unit.content_mg, rel=1e-12)
    assert measure_mesh(unit.mesh, 50, "necks") == unit.geometry
    assert set(unit.finished_mm) == set(unit.shape.lengths)
    assert set(unit.shape.features) < set(unit.shape.lengths)
    again = unit.shape.mesh({key: float(repr(value)) for key, value in unit.drawn_mm.items()})
    assert np.array_equal(again.vertices_nm, unit.mesh.vertices_nm)


@settings(max_examples=8, deadline=None)
@given(
    way=st.sampled_from([one for one in EVERY_WAY if one[2] != "fixed_section"]),
    dose=st.floats(3.0, 6.0),
    layer=st.sampled_from([25, 50, 100]),
    bleed=st.floats(-0.02, 0.06),
    overcure=st.floats(0.0, 0.1),
)
def test_any_dose_is_held_exactly(way, dose, layer, bleed, overcure):
    name, orientation, rule = way
    terms = replace(terms_of(orientation), bleed_mm=bleed, overcure_mm=overcure)
    unit = size_unit(dose, design_of(name, orientation, rule, layer), terms)
    assert unit.content_mg == pytest.approx(dose, rel=1e-8)
    assert is_closed(unit.mesh)


def test_the_worked_spheroid():  # S-03
    case = SIZING["spheroid"]
    shape = SHAPES["spheroid", "flat"]
    design = Design(shape="spheroid", rule="uniform", orientation="flat", mount="necks", layer_um=50, aspect_frac=1.0)
    terms = replace(BARE, mount="necks")
    drawn = solve_smooth(shape, design, case["layers"], case["dose_mg"], terms)
    assert drawn["diameter"] / 2 == pytest.approx(case["across_mm"], abs=case["atol_mm"])
    assert shape.smooth(drawn, "necks").mesh_volume_mm3 == pytest.approx(case["volume_mm3"], rel=1e-8)
    assert shape.smooth(drawn, "necks").surface_mm2 == pytest.approx(case["surface_mm2"], rel=1e-8)
    unit = size_unit(case["dose_mg"], design, terms)
    assert unit.layers == case["layers"]
    assert unit.drawn_mm["diameter"] / 2 == pytest.approx(case["across_mm"], abs=2e-4)
    assert unit.surface_to_volume_mm == pytest.approx(case["surface_to_volume_mm"], rel=1e-3)


def test_the_worked_capsule_shape():  # S-04
    case = SIZING["capsule"]
    shape = SHAPES["capsule-shaped", "lying"]
    design = Design(
        shape="capsule-shaped",
        rule="fixed_height",
        orientation="lying",
        mount="necks",
        layer_um=case["layer_um"],
        fixed_height_mm=2 * case["radius_mm"],
    )
    terms = replace(BARE, mount="necks", orientation="lying")
    drawn = solve_smooth(shape, design, case["layers"], case["dose_mg"], terms)
    assert drawn["length"] - drawn["diameter"] == pytest.approx(case["straight_mm"], abs=case["atol_mm"])
    assert shape.smooth(drawn, "necks").mesh_volume_mm3 == pytest.approx(case["volume_mm3"], rel=1e-8)
    assert shape.smooth(drawn, "necks").surface_mm2 == pytest.approx(case["surface_mm2"], rel=1e-8)
    unit = size_unit(case["dose_mg"], design, terms)
    assert unit.layers == case["layers"]
    # The layers' middles overstate a lying round body by about a part in 10^4, which shortens it by that.
    assert unit.drawn_mm["length"] - 6.0 == pytest.approx(case["straight_mm"], abs=5e-3)
    assert unit.surface_to_volume_mm == pytest.approx(case["surface_to_volume_mm"], rel=1e-3)


def test_the_worked_rings_keep_surface_to_volume():  # S-46
    case = SIZING["ring"]
    shape = SHAPES["ring", "flat"]
    design = design_of("ring", "flat", "fixed_tube")
    terms = replace(BARE, mount="necks", leached_mm=0.0, unit_strength_frac=0.1, density_mg_mm3=1.2)
    for dose_mg, centre_mm in zip(case["dose_mg"], case["centre_mm"], strict=True):
        drawn = solve_smooth(shape, design, 60, dose_mg, terms)
        assert (drawn["diameter"] - drawn["tube"]) / 2 == pytest.approx(centre_mm, rel=case["rtol"])
        smooth = shape.smooth(drawn, "necks")
        assert smooth.surface_mm2 / smooth.mesh_volume_mm3 == pytest.approx(2 / case["tube_mm"], rel=1e-12)


def test_bleed_of_a_lying_capsule_shape_and_of_a_ring():  # science reference 1.4
    case = FORMS["lying_capsule_outlines"]
    length = case["straight_mm"] + 2 * case["radius_mm"]
    drawn = {"length": length, "diameter": 2 * case["radius_mm"]}
    smooth = SHAPES["capsule-shaped", "lying"].smooth(drawn, "necks")
    assert smooth.perimeter_layer_mm2 == pytest.approx(case["outlines_mm2"], rel=case["rtol"])
    plain = replace(BARE, mount="necks", orientation="lying", leached_mm=0.0)
    gain = unchecked_content_mg(replace(plain, bleed_mm=case["bleed_mm"]), smooth) / unchecked_content_mg(plain, smooth)
    assert 100 * (gain - 1) == pytest.approx(case["gain_percent"], rel=case["rtol"])
    ring = FORMS["ring_bleed"]
    for centre_mm in (2.5, 4.0, 9.0):
        drawn = {"diameter": 2 * (centre_mm + ring["tube_mm"]), "tube": 2 * ring["tube_mm"], "hole": 0.0}
        smooth = SHAPES["ring", "flat"].smooth(drawn, "necks")
        share = ring["bleed_mm"] * smooth.perimeter_layer_mm2 / smooth.mesh_volume_mm3
        assert share == pytest.approx(ring["gain_frac"], rel=1e-7)


def test_the_inner_outline_of_a_ring_grows_inwards():
    unit = size_unit(4.0, design_of("ring", "flat", "fixed_tube"), terms_of("flat"))
    assert unit.finished_mm["hole"] == pytest.approx(unit.drawn_mm["hole"] - 2 * TERMS.bleed_mm)
    assert unit.finished_mm["diameter"] == pytest.approx(unit.drawn_mm["diameter"] + 2 * TERMS.bleed_mm)
    assert unit.finished_mm["tube"] == pytest.approx(2.5 + 2 * TERMS.bleed_mm)
    assert unit.finished_mm["height"] == pytest.approx(2.5 + TERMS.overcure_mm)
    # Both outlines of the middle section, 4 pi R long together.
    middle = unit.sections.perimeter_mm[unit.layers // 2]
    assert middle == pytest.approx(4 * math.pi * (unit.drawn_mm["diameter"] - 2.5) / 2, rel=1e-3)


@pytest.mark.parametrize(("name", "orientation", "rule"), EVERY_WAY)
def test_a_larger_dose_needs_a_larger_unit(name, orientation, rule):
    small, large = (sketch_unit(d, design_of(name, orientation, rule), terms_of(orientation)) for d in (3.5, 5.0))
    assert large.geometry.mesh_volume_mm3 > small.geometry.mesh_volume_mm3
    assert large.mass_mg > small.mass_mg
    assert large.layers >= small.layers
    written = size_unit(5.0, large.design, large.terms) if rule == "uniform" else None
    if written is not None:  # a sketch is what will be written, but for the facets
        assert large.layers == written.layers
        assert large.finished_mm == pytest.approx(written.finished_mm, abs=1e-2)
        assert large.mass_mg == pytest.approx(written.mass_mg, rel=1e-4)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"shape": "ring", "rule": "uniform", "aspect_frac": 0.6}, "aspect_frac"),
        ({"shape": "ring", "rule": "fixed_tube", "fixed_tube_mm": None}, "fixed_tube_mm"),
        ({"shape": "ring", "rule": "fixed_tube", "fixed_tube_mm": 2.52}, "fixed_tube_mm"),
        ({"shape": "ring", "rule": "fixed_height"}, "rule"),
        ({"shape": "ring", "rule": "fixed_tube", "mount": "sheet"}, "mount"),
        ({"shape": "disc", "rule": "fixed_tube"}, "rule"),
        ({"shape": "disc", "rule": "fixed_section", "fixed_section_mm": None}, "fixed_section_mm"),
        ({"shape": "biconvex", "rule": "uniform", "cap_radius_frac": None}, "cap_radius_frac"),
        ({"shape": "biconvex", "rule": "uniform", "cap_radius_frac": 0.4}, "cap_radius_frac"),
        ({"shape": "biconvex", "rule": "uniform", "cap_radius_frac": 0.6, "aspect_frac": 0.3}, "aspect_frac"),
        ({"shape": "spheroid", "rule": "uniform", "aspect_frac": 1.2}, "aspect_frac"),
        ({"shape": "spheroid", "rule": "uniform", "orientation": "upright"}, "orientation"),
        ({"shape": "capsule-shaped", "rule": "uniform", "orientation": "lying", "aspect_frac": 1.0}, "aspect_frac"),
    ],
)
def test_a_design_that_cannot_be_drawn_is_refused_by_name(change, field):
    base = design_of(change["shape"], "flat" if change["shape"] != "capsule-shaped" else "lying", "uniform")
    design = replace(base, **change)
    terms = replace(terms_of(design.orientation), mount=design.mount)
    with pytest.raises(BadInput) as refused:
        size_unit(4.0, design, terms)
    assert field in {one.field for one in refused.value.refusals}
    assert all(one.accepted for one in refused.value.refusals)


@pytest.mark.parametrize(
    ("name", "orientation", "rule", "dose"),
    [
        ("ring", "flat", "fixed_tube", 1.0),  # no hole would be left
        ("capsule-shaped", "lying", "fixed_height", 1.0),  # shorter than thick
        ("capsule-shaped", "standing", "fixed_height", 30.0),  # thicker than long
        ("capsule-shaped", "standing", "fixed_section", 1.0),  # shorter than thick
        ("biconvex", "flat", "fixed_height", 60.0),  # the caps alone are higher
        ("biconvex", "upright", "fixed_height", 1.0),  # the caps alone are thicker
    ],
)
def test_a_dose_that_the_shape_cannot_hold_is_blocked_not_bent(name, orientation, rule, dose):
    with pytest.raises(Blocked) as refused:
        size_unit(dose, design_of(name, orientation, rule), terms_of(orientation))
    (one,) = refused.value.refusals
    assert (one.field, one.value, one.unit, one.rule) == ("dose_mg", f"{dose:g}", "mg", "no-size")
    low, high = (float(end) for end in one.limit.split(" to "))
    assert not low <= dose <= high
    assert " mm can be drawn" in one.message
