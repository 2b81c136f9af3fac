"""Rafts, codes and necks: closed volumes, no more resin than planned, codes that can be read, shallow scars."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest
import trimesh
from manifold3d import Manifold, Mesh64

from dosewright.ground.pure.codes import ALPHABET, raised_part
from dosewright.ground.pure.errors import BadInput
from printing.core.layout.cost import zone_raft_um3
from printing.core.layout.neck_places import neck_solid
from printing.core.layout.necks import (
    LEAST_NECKS,
    LEAST_TIP_UM,
    MOST_TIP_UM,
    NeckRules,
    neck_volume_um3,
    necks_for,
    overlap_volume_um3,
)
from printing.core.layout.plan import make_plan
from printing.core.layout.rafts import Solid, placed_in_frame, raft_solid, slab_volume_um3
from printing.core.layout.record import plan_record
from printing.core.layout.request import RaftRules
from printing.core.layout.solids import plate_solids
from printing.plates.files.lettering import code_outlines
from tests.core.layout.workloads import line, prism, request

RULES = RaftRules()
SQUARE = ((3_000, 4_000), (33_000, 4_000), (33_000, 24_000), (3_000, 24_000))
TAB = (3_000, 4_000, 12_000, 4_000)


def mesh_of(solid: Solid) -> trimesh.Trimesh:
    return trimesh.Trimesh(solid.vertices_mm, solid.faces, process=False)


def body_of(solid: Solid) -> Manifold:
    return Manifold(Mesh64(solid.vertices_mm, solid.faces.astype(np.uint64)))


def raft(text: str = "W4M7Q", *, polygon: Any = SQUARE, tab: Any = TAB, turn: int = 0) -> Solid:
    return raft_solid(polygon, tab, turn, text, RULES, code_outlines())


@pytest.mark.parametrize("text", [(ALPHABET + "33")[k : k + 5] for k in range(0, 25, 5)])
@pytest.mark.parametrize("turn", [0, 90])
def test_a_raft_with_any_code_is_one_closed_volume_within_its_zone(text: str, turn: int) -> None:
    tab = TAB if turn == 0 else (3_000, 4_000, 4_000, 12_000)
    solid = raft(text, tab=tab, turn=turn)
    mesh = mesh_of(solid)
    assert mesh.is_volume
    assert mesh.body_count == 1
    assert mesh.volume == pytest.approx(solid.volume_mm3)
    assert np.allclose(mesh.bounds, [[0, 0, 0], [30, 20, 1.2]])


def test_the_slab_is_as_large_as_planned() -> None:
    body = body_of(raft()).trim_by_plane((0.0, 0.0, -1.0), -0.6)
    assert body.volume() == pytest.approx(slab_volume_um3(30_000, 20_000, RULES) / 1e9, rel=1e-6)


def test_the_lower_edge_leaves_room_for_a_spatula() -> None:
    section = body_of(raft()).slice(0.0)
    assert np.allclose(section.bounds(), (0.4, 0.4, 29.6, 19.6), atol=1e-5)


@pytest.mark.parametrize("turn", [0, 90])
def test_the_code_stands_upright_inside_its_tab(turn: int) -> None:
    tab = TAB if turn == 0 else (3_000, 4_000, 4_000, 12_000)
    letters = body_of(raft("FFFFF", tab=tab, turn=turn)).slice(0.9)
    low_x, low_y, high_x, high_y = letters.bounds()
    assert low_x >= 0.4 - 1e-5
    assert low_y >= 0.4 - 1e-5
    assert high_x <= tab[2] / 1000 - 0.4 + 1e-5
    assert high_y <= tab[3] / 1000 - 0.4 + 1e-5
    pieces = letters.decompose()
    assert len(pieces) == 5
    spots = sorted((piece.bounds() for piece in pieces), key=lambda box: box[0] if turn == 0 else box[1])
    assert all(a[2 if turn == 0 else 3] < b[0 if turn == 0 else 1] for a, b in itertools.pairwise(spots))


def test_an_f_reads_as_an_f_from_above() -> None:
    """An F has its stem to the left and most of its ink in the upper half; mirrored or upside down it has not."""
    piece = min(body_of(raft("FFFFF")).slice(0.9).decompose(), key=lambda one: one.bounds()[0])
    left, low, right, high = piece.bounds()
    points = np.vstack(piece.to_polygons())
    right_half = points[points[:, 0] > (left + right) / 2]
    foot = points[points[:, 1] < low + 0.1 * (high - low)]
    assert foot[:, 0].max() < left + 0.4 * (right - left)
    assert right_half[:, 1].max() == pytest.approx(high)
    assert right_half[:, 1].min() > low + 0.3 * (high - low)


def test_different_codes_give_different_reliefs() -> None:
    areas = {text: body_of(raft(text)).slice(0.9).area() for text in ("33333", "44444", "WWWWW")}
    assert len({round(area, 3) for area in areas.values()}) == 3


def test_a_character_without_outline_is_refused() -> None:
    with pytest.raises(BadInput):
        raft("W4M7O")


@pytest.mark.parametrize("diameter_um", [3_000, 6_000, 9_000, 14_000])
@pytest.mark.parametrize("outline", ["round", "rectangle", "stadium"])
def test_necks_are_volumes_and_scar_no_more_than_counted(diameter_um: int, outline: str) -> None:
    footprint = (diameter_um, diameter_um) if outline == "round" else (2 * diameter_um, diameter_um)
    one = line(1, outline=outline, footprint_um=footprint)
    unit = placed_in_frame(*prism(one))
    rules = necks_for(one.contact_um2, one.height_um, diameter_um)
    solid = neck_solid(unit, rules, RULES)
    mesh = mesh_of(solid)
    assert mesh.is_volume
    assert mesh.body_count == rules.count
    assert mesh.bounds[1][2] == pytest.approx(0.05)
    assert mesh.bounds[0][2] == pytest.approx(-1.05)
    inside = (body_of(unit) ^ body_of(solid)).volume()
    counted = overlap_volume_um3(rules) / 1e9
    assert 0 < inside <= counted * 1.06
    assert inside >= 0.9 * counted
    assert inside < 2e-3 * unit.volume_mm3


def test_necks_hold_a_round_underside_where_they_touch_it() -> None:
    ball = trimesh.creation.icosphere(subdivisions=4, radius=4.0)
    unit = placed_in_frame(ball.vertices, ball.faces)
    solid = neck_solid(unit, NeckRules(count=3, tip_um=500, base_um=700), RULES)
    inside = body_of(unit) ^ body_of(solid)
    assert len(inside.decompose()) == 3
    assert mesh_of(solid).is_volume
    counted = overlap_volume_um3(NeckRules(count=3, tip_um=500, base_um=700)) / 1e9
    assert 0 < inside.volume() <= counted * 1.06


def test_a_unit_too_small_for_its_necks_is_refused() -> None:
    tiny = placed_in_frame(*prism(line(1, footprint_um=(900, 900), layers=20)))
    with pytest.raises(BadInput):
        neck_solid(tiny, NeckRules(count=3, tip_um=500, base_um=1_000), RULES)


def test_more_contact_and_more_slenderness_ask_for_more_neck() -> None:
    def area(contact_um2: int, height_um: int) -> int:
        rules = necks_for(contact_um2, height_um, 8_000)
        assert rules.count >= LEAST_NECKS
        assert LEAST_TIP_UM <= rules.tip_um <= MOST_TIP_UM
        return rules.count * rules.tip_um**2

    assert area(50_000_000, 4_000) < area(150_000_000, 4_000)
    assert area(150_000_000, 4_000) < area(150_000_000, 40_000)


def test_a_neck_is_counted_as_the_cone_it_is() -> None:
    rules = NeckRules(count=1, tip_um=700, base_um=1_400)
    exact = np.pi * 1.0 / 12 * (0.7**2 + 0.7 * 1.4 + 1.4**2)
    assert neck_volume_um3(rules, 1_000) / 1e9 == pytest.approx(exact, rel=1e-6)


def test_planned_resin_covers_the_rafts_as_built() -> None:
    asked = request(line(1), line(2, outline="stadium", footprint_um=(11_000, 5_000)))
    plan = make_plan(asked)
    record = plan_record(plan)["plates"][0]
    solids = plate_solids(record, {one.code: prism(one) for one in asked.lines}, code_outlines())
    built = {item.part_number: solids.meshes[item.mesh].volume_mm3 for item in solids.items}
    for zone in plan.plates[0].zones:
        planned = zone_raft_um3(zone, asked.raft) / 1e9
        assert built[zone.code] < planned < built[zone.code] + 12 * 4 * 0.6
    necks = sum(volume for name, volume in built.items() if name.endswith("necks"))
    assert necks == pytest.approx(plan.plates[0].resin.necks_ul, rel=0.2)


@pytest.mark.parametrize("change", [{"footprint_um": (6_010, 6_010)}, {"layers": 61}])
def test_a_mesh_of_another_size_than_planned_is_refused(change: dict[str, Any]) -> None:
    record = plan_record(make_plan(request(line(1))))["plates"][0]
    with pytest.raises(BadInput):
        plate_solids(record, {line(1).code: prism(line(1, **change))}, code_outlines())


def test_an_inverted_or_missing_mesh_is_refused() -> None:
    record = plan_record(make_plan(request(line(1))))["plates"][0]
    points, faces = prism(line(1))
    for meshes in ({}, {line(1).code: (points, faces[:, ::-1])}, {line(1).code: (points * np.nan, faces)}):
        with pytest.raises(BadInput):
            plate_solids(record, meshes, code_outlines())


def test_codes_on_rafts_are_what_people_read() -> None:
    assert raised_part("ZN-W4M7Q") == "W4M7Q"
