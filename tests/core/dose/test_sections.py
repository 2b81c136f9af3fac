"""Section areas and outlines against closed forms and against cutting the mesh plane by plane."""

from __future__ import annotations

import math

import numpy as np
import pytest

from dosewright.ground.pure.errors import BadInput
from printing.core.dose.meshes import Mesh, disc_mesh, volume_mm3
from printing.core.dose.sections import facing_mm2, sections
from tests.core.vectors import load


def _trimesh(creation, **arguments):
    import trimesh

    body = getattr(trimesh.creation, creation)(**arguments)
    body.apply_translation([0.0, 0.0, -body.bounds[0][2]])
    return Mesh(vertices_mm=body.vertices, faces=body.faces)


def test_disc_sections_are_its_face_and_outline():
    mesh = disc_mesh(3.0, 2.4)
    cut = sections(mesh, 50)
    assert cut.layers == 48
    assert cut.area_mm2 == pytest.approx(9 * math.pi, rel=1e-7)
    assert cut.volume_mm3 == pytest.approx(volume_mm3(mesh), rel=1e-12)
    outline = 2 * 256 * math.sqrt(9 * math.pi / (128 * math.sin(math.tau / 256))) * math.sin(math.pi / 256)
    assert cut.perimeter_mm == pytest.approx(outline, rel=1e-7)
    assert cut.perimeter_layer_mm2 == pytest.approx(outline * 2.4, rel=1e-7)


@pytest.mark.parametrize(
    ("creation", "arguments", "layer"),
    [
        ("icosphere", {"subdivisions": 3, "radius": 4.0}, 50),
        ("capsule", {"height": 6.0, "radius": 3.0}, 100),
        ("torus", {"major_radius": 4.0, "minor_radius": 1.5}, 25),
        ("cone", {"radius": 3.0, "height": 5.0}, 50),
    ],
)
def test_sections_agree_with_cutting_plane_by_plane(creation, arguments, layer):
    import trimesh

    mesh = _trimesh(creation, **arguments)
    body = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
    cut = sections(mesh, layer)
    for k in sorted({0, 1, cut.layers // 3, cut.layers // 2, cut.layers - 2, cut.layers - 1}):
        plane = body.section([0, 0, 1], [0, 0, (k + 0.5) * layer / 1000])
        flat, _ = plane.to_2D()
        assert cut.area_mm2[k] == pytest.approx(flat.area, abs=1e-9)
        assert cut.perimeter_mm[k] == pytest.approx(plane.length, abs=1e-8)


def test_midplane_slicing_error_of_a_sphere():
    case = load("shapes")["sphere_midplane"]
    radius = case["radius_mm"]
    whole = 4 / 3 * math.pi * radius**3
    for layer, excess in zip(case["layer_um"], case["excess_percent"], strict=True):
        mid = (np.arange(round(2000 * radius / layer)) + 0.5) * layer / 1000 - radius
        smooth = (math.pi * (radius**2 - mid**2)).sum() * layer / 1000
        assert 100 * (smooth / whole - 1) == pytest.approx(excess, abs=case["atol_percent"])
        mesh = _trimesh("icosphere", subdivisions=4, radius=radius)
        sliced = sections(mesh, layer).volume_mm3 / volume_mm3(mesh) - 1
        assert 100 * sliced == pytest.approx(excess, abs=1e-3)  # facets at the poles


def test_a_plane_in_a_step_counts_as_just_above_it():
    low = disc_mesh(3.0, 0.075)  # its roof lies in the mid-plane of layer 1 (50 um)
    cut = sections(low, 50)
    assert cut.layers == 1
    assert cut.area_mm2[0] == pytest.approx(9 * math.pi, rel=1e-7)


def test_facing_area_leaves_out_what_is_bonded_to_the_sheet():
    disc = disc_mesh(3.0, 2.4)
    assert facing_mm2(disc, "sheet") == 0.0
    assert facing_mm2(disc, "necks") == pytest.approx(9 * math.pi, rel=1e-7)


def test_facing_area_of_a_supported_sphere_is_its_shadow():
    # Science reference 4.1: a supported sphere has one free face of projected area pi R^2.
    sphere = _trimesh("icosphere", subdivisions=5, radius=4.0)
    assert facing_mm2(sphere, "necks") == pytest.approx(16 * math.pi, rel=2e-3)
    assert facing_mm2(sphere, "sheet") == pytest.approx(16 * math.pi, rel=2e-3)


def test_bad_layers_mounts_and_meshes_below_the_plate_are_refused():
    disc = disc_mesh(3.0, 2.4)
    for layer in (0, -50, 50.0, True):
        with pytest.raises(BadInput):
            sections(disc, layer)
    with pytest.raises(BadInput):
        facing_mm2(disc, "glue")
    sunk = Mesh(vertices_mm=disc.vertices_mm - [0, 0, 1e-3], faces=disc.faces)
    with pytest.raises(BadInput):
        sections(sunk, 50)
