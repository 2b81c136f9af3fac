"""Every shape goes through plan, checker and plate file: its volume is read back, its necks hold it."""

from __future__ import annotations

import io
from dataclasses import replace
from decimal import Decimal
from typing import Any

import lib3mf
import numpy as np
import pytest
import trimesh

from printing.core.dose.unit import SizedUnit, size_unit
from printing.core.layout.checker import check_plan
from printing.core.layout.cost import line_necks
from printing.core.layout.necks import LEAST_NECKS, MOST_SPAN_UM
from printing.core.layout.plan import make_plan
from printing.core.layout.record import plan_record
from printing.core.layout.request import PlacedLine
from printing.core.layout.solids import plate_solids
from printing.plates.files.assembly import plate_file
from printing.plates.files.lettering import code_outlines
from tests.core.dose.shape_cases import design_of, terms_of
from tests.core.layout.workloads import expectations, line, request

WAYS = {
    1: ("ring", "flat", "fixed_tube", 4.0),
    2: ("capsule-shaped", "lying", "fixed_height", 8.0),
    3: ("capsule-shaped", "standing", "fixed_section", 6.0),
    4: ("spheroid", "flat", "uniform", 3.0),
    5: ("spheroid", "lying", "uniform", 3.0),
    6: ("biconvex", "flat", "fixed_height", 4.0),
    7: ("biconvex", "upright", "uniform", 4.0),
    8: ("disc", "upright", "uniform", 3.0),
    9: ("mini-units", "flat", "uniform", 0.3),
    10: ("spheroid", "flat", "uniform", 0.3),
}
"""A line number, a shape in an orientation by a rule, and a content [mg]; the last two are as small as units get."""


def placed(number: int, unit: SizedUnit) -> PlacedLine:
    """Return a line of this unit as the planner sees it."""
    return line(
        number,
        count=5,
        spares=1,
        outline=unit.footprint,
        orientation=unit.design.orientation,
        footprint_um=unit.footprint_um,
        layers=unit.layers,
        dose_mg=Decimal(str(WAYS[number][3])),
        volume_um3=round(unit.geometry.mesh_volume_mm3 * 1e9),
        section_um2_layers=round(float(unit.sections.area_mm2.sum()) * 1e6),
        perimeter_um_layers=round(float(unit.sections.perimeter_mm.sum()) * 1e3),
        contact_um2=round(unit.facing_raft_mm2 * 1e6),
        held_run_um=round(unit.held_run_mm * 1e3),
    )


UNITS = {n: size_unit(dose, design_of(s, o, rule), terms_of(o)) for n, (s, o, rule, dose) in WAYS.items()}
LINES = {number: placed(number, unit) for number, unit in UNITS.items()}
ASKED = request(*LINES.values(), tests=())
RECORD = plan_record(make_plan(ASKED))
MESHES = {LINES[n].code: (unit.mesh.vertices_mm, unit.mesh.faces) for n, unit in UNITS.items()}
(PLATE,) = RECORD["plates"]
SOLIDS = plate_solids(PLATE, MESHES, code_outlines())
DATA = plate_file(PLATE, MESHES)


def _zone(number: int) -> dict[str, Any]:
    return next(one for one in PLATE["zones"] if one["line"] == LINES[number].code)


def test_the_checker_finds_nothing_wrong() -> None:
    assert check_plan(RECORD, expectations(ASKED)) == []


def test_lib3mf_reads_every_shape_and_a_ring_and_a_lying_capsule_shape_with_their_volumes() -> None:
    model = lib3mf.Wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromBuffer(DATA)
    assert [reader.GetWarning(k) for k in range(reader.GetWarningCount())] == []
    volumes: dict[int, float] = {}
    found: dict[str, float] = {}
    items = model.GetBuildItems()
    while items.MoveNext():
        item = items.GetCurrent()
        mesh = model.GetMeshObjectByID(item.GetObjectResourceID())
        if mesh.GetType() == lib3mf.ObjectType.Model:
            if mesh.GetResourceID() not in volumes:
                assert mesh.IsManifoldAndOriented()
                # lib3mf hands over one corner at a time: two bodies by it, all of them by trimesh below.
                with_volume = item.GetPartNumber() in (*LINES[1].unit_codes, *LINES[2].unit_codes)
                volumes[mesh.GetResourceID()] = _volume(mesh) if with_volume else 0.0
            found[item.GetPartNumber()] = volumes[mesh.GetResourceID()]
    assert set(found) == {code for one in LINES.values() for code in one.unit_codes}
    for number in (1, 2):
        for code in LINES[number].unit_codes:
            assert found[code] == pytest.approx(UNITS[number].geometry.mesh_volume_mm3, rel=1e-6)


def test_trimesh_reads_every_shape_with_its_volume() -> None:
    scene = trimesh.load_scene(io.BytesIO(DATA), file_type="3mf")
    volumes = sorted(one.volume for one in scene.geometry.values() if one.is_volume)
    for unit in UNITS.values():
        assert min(abs(one / unit.geometry.mesh_volume_mm3 - 1) for one in volumes) < 1e-6


def _volume(mesh: Any) -> float:
    points = np.array([tuple(one.Coordinates) for one in mesh.GetVertices()], dtype=float)
    a, b, c = (points[[one.Indices[k] for one in mesh.GetTriangleIndices()]] for k in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)


def _necks(number: int) -> tuple[trimesh.Trimesh, list[trimesh.Trimesh]]:
    """The unit and its necks, in the unit's frame."""
    code = LINES[number].unit_codes[0]
    keys = {item.part_number: item.mesh for item in SOLIDS.items}
    unit, necks = SOLIDS.meshes[keys[code]], SOLIDS.meshes[keys[f"{code} necks"]]
    bodies = [trimesh.Trimesh(one.vertices_mm, one.faces, process=False) for one in (unit, necks)]
    return bodies[0], list(bodies[1].split())


@pytest.mark.parametrize("number", WAYS)
def test_every_neck_holds_its_unit_where_that_is_nearly_level(number: int) -> None:
    import manifold3d

    unit, necks = _necks(number)
    asked = line_necks(LINES[number])
    assert asked is not None
    assert len(necks) == asked.count >= LEAST_NECKS
    solid = manifold3d.Manifold(manifold3d.Mesh64(np.array(unit.vertices), np.array(unit.faces, dtype=np.uint64)))
    tip_mm2 = np.pi * (asked.tip_um / 2000) ** 2
    for neck in necks:
        assert neck.bounds[0][2] == pytest.approx(-1.05)
        body = manifold3d.Manifold(manifold3d.Mesh64(np.array(neck.vertices), np.array(neck.faces, dtype=np.uint64)))
        inside = (solid ^ body).volume()
        # A tip reaches 0.05 mm in over its middle; on a slope one side of it reaches further and the other less.
        assert 0.5 * 0.05 * tip_mm2 < inside < 3.0 * 0.05 * tip_mm2
        assert inside < 2e-3 * unit.volume / asked.count or number in (9, 10)
        assert neck.bounds[1][2] < 0.25 * unit.extents[2]


def test_a_ring_stands_on_its_lowest_circle_and_a_long_body_along_its_lowest_line() -> None:
    necks = _necks(1)[1]
    tube = UNITS[1].drawn_mm["tube"]
    centre = (UNITS[1].drawn_mm["diameter"] - tube) / 2
    places = np.array([neck.bounds[:, :2].mean(axis=0) for neck in necks])
    assert np.abs(np.hypot(*places.T) - centre).max() < 0.3 * tube / 2
    spans = 2 * np.pi * centre / len(necks)
    assert spans <= MOST_SPAN_UM / 1000
    long, necks = _necks(2)
    places = np.array([neck.bounds[:, :2].mean(axis=0) for neck in necks])
    assert np.ptp(places[:, 0]) > 0.5 * (long.extents[0] - long.extents[1])
    assert np.abs(places[:, 1]).max() < 0.35 * long.extents[1]
    assert np.diff(np.sort(places[:, 0])).max() <= MOST_SPAN_UM / 1000


def test_more_run_asks_for_more_necks() -> None:
    long = replace(LINES[2], held_run_um=21_000)
    necks, fewer = line_necks(long), line_necks(replace(LINES[2], held_run_um=0))
    assert necks is not None
    assert fewer is not None
    assert necks.count == 6 > fewer.count
