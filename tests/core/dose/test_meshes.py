"""Meshes keep the volume they stand for and stay closed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dosewright.ground.pure.errors import BadInput
from printing.core.dose.meshes import Mesh, disc_mesh, is_closed, surface_mm2, volume_mm3
from printing.core.dose.shapes.disc import disc_volume_surface
from tests.core.vectors import load

SHAPES = load("shapes")


@pytest.mark.parametrize("case", SHAPES["cylinder"], ids=lambda case: case["id"])
def test_closed_form_of_the_disc(case):
    volume, surface = disc_volume_surface(case["radius_mm"], case["height_mm"])
    assert volume == pytest.approx(case["volume_mm3"], rel=case["rtol"])
    assert surface == pytest.approx(case["surface_mm2"], rel=case["rtol"])


def test_an_inscribed_polygon_would_lose_dose_and_ours_does_not():
    case = SHAPES["polygon_deficit"]
    for sides, deficit in zip(case["sides"], case["deficit_percent"], strict=True):
        inscribed = sides / 2 * math.sin(math.tau / sides) / math.pi - 1
        assert 100 * inscribed == pytest.approx(deficit, rel=case["rtol"])
        if sides == 64:  # S-13
            assert 100 * inscribed == pytest.approx(-0.160561, rel=1e-5)
        if sides >= 128:
            assert volume_mm3(disc_mesh(4.0, 5.0, sides)) == pytest.approx(80 * math.pi, rel=1e-7)


@given(radius=st.floats(0.5, 12.0), layers=st.integers(10, 400))
def test_mesh_volume_is_the_analytic_volume(radius, layers):
    height = layers * 0.05
    mesh = disc_mesh(radius, height)
    volume, surface = disc_volume_surface(radius, height)
    # One vertex moved by 1e-6 mm changes the area by 8e-9/r of itself; rounding alone would leave up to 1e-6/r.
    assert volume_mm3(mesh) == pytest.approx(volume, rel=1e-8 / radius)
    assert surface < surface_mm2(mesh) < surface * (1 + 3e-5)
    assert is_closed(mesh)


def test_another_library_agrees_that_it_is_one_closed_body():
    import trimesh

    mesh = disc_mesh(3.027428135, 2.4)
    other = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
    assert other.is_volume
    assert other.body_count == 1
    assert other.volume == pytest.approx(volume_mm3(mesh), rel=1e-12)
    assert other.area == pytest.approx(surface_mm2(mesh), rel=1e-12)


def test_vertices_are_whole_nanometres_and_read_only():
    mesh = disc_mesh(math.e, 2.4)
    assert np.array_equal(mesh.vertices_nm / 1_000_000, mesh.vertices_mm)
    with pytest.raises(ValueError, match="read-only"):
        mesh.vertices_mm[0, 0] = 1.0


def test_an_open_or_flipped_mesh_is_seen():
    mesh = disc_mesh(3.0, 2.0)
    assert not is_closed(Mesh(vertices_mm=mesh.vertices_mm, faces=mesh.faces[1:]))
    flipped = mesh.faces.copy()
    flipped[0] = flipped[0][::-1]
    assert not is_closed(Mesh(vertices_mm=mesh.vertices_mm, faces=flipped))
    assert volume_mm3(Mesh(vertices_mm=mesh.vertices_mm, faces=mesh.faces[:, ::-1])) < 0


@pytest.mark.parametrize(("radius", "height", "sides"), [(0, 1, 256), (1, -1, 256), (math.nan, 1, 256), (1, 1, 64)])
def test_a_disc_that_is_none_is_refused(radius, height, sides):
    with pytest.raises(BadInput):
        disc_mesh(radius, height, sides)


@pytest.mark.parametrize(
    ("vertices", "faces"),
    [
        ([[0, 0, math.inf]], [[0, 0, 0]]),
        ([[0, 0, 0]], [[0, 0, 1]]),
        ([[0, 0, 0]], [[0, 0, -1]]),
        ([[0, 0, 0]], [[0, 0]]),
        ([[0, 0]], [[0, 0, 0]]),
    ],
)
def test_a_malformed_mesh_is_refused(vertices, faces):
    with pytest.raises(BadInput):
        Mesh(vertices_mm=np.array(vertices, dtype=float), faces=np.array(faces))


def test_closed_forms_refuse_what_is_no_length():
    for radius, height in ((0.0, 1.0), (1.0, math.inf)):
        with pytest.raises(BadInput):
            disc_volume_surface(radius, height)
