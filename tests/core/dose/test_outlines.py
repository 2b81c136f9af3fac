"""The outlines that are drawn are those of the mesh that is written."""

from __future__ import annotations

import pytest
from shapely import Polygon

from printing.core.dose.outlines import outlines_of
from tests.core.dose.shape_cases import EVERY_FORM
from tests.core.dose.test_shapes import DRAWN, SHAPES

AXIS = {"flat": 2, "standing": 2, "upright": 0, "lying": 0}
"""Which axis of the print frame is the axis of revolution."""


@pytest.mark.parametrize(("name", "orientation"), EVERY_FORM)
def test_outlines_are_as_large_as_the_unit_and_enclose_its_projections(name, orientation):
    drawn = DRAWN[name, orientation]
    mesh = SHAPES[name, orientation].mesh(drawn)
    face, side = outlines_of(name, drawn)
    extent = list(mesh.extent_mm)
    along = extent.pop(AXIS[orientation])
    assert face.size_mm == pytest.approx((max(extent), max(extent)), abs=0.02)
    assert sorted(side.size_mm) == pytest.approx(sorted((max(extent), along)), abs=0.02)
    for outline in (face, side):
        body = Polygon(outline.corners, [outline.hole] if outline.hole else [])
        assert body.is_valid
        assert body.area > 0
    assert bool(face.hole) == (name == "ring")
    solid = Polygon(side.corners)
    revolved = 2 * 3.141592653589793 * _moment(solid, upright=along == pytest.approx(side.size_mm[1], abs=0.02))
    if name != "ring":  # Pappus-Guldin: half the side outline swept around the axis is the body
        assert revolved == pytest.approx(SHAPES[name, orientation].smooth(drawn, "necks").mesh_volume_mm3, rel=5e-3)


def _moment(solid: Polygon, *, upright: bool) -> float:
    """Area of one half of the side outline times the distance of its centroid from the axis."""
    far = 100.0
    half = Polygon([(0, -far), (far, -far), (far, far), (0, far)])
    if not upright:
        half = Polygon([(-far, 0), (far, 0), (far, far), (-far, far)])
    part = solid.intersection(half)
    return float(part.area * (part.centroid.x if upright else part.centroid.y))
