"""The plate file: strict lib3mf and trimesh read it, volumes agree, bytes repeat, damage and bombs are refused."""

from __future__ import annotations

import copy
import io
import os
import subprocess
import sys
import zipfile
from dataclasses import replace
from typing import Any

import lib3mf
import numpy as np
import pytest
import trimesh

from dosewright.ground.pure.canonical import digest_of
from dosewright.ground.pure.errors import BadInput, Conflict
from printing.core.layout.plan import make_plan
from printing.core.layout.rafts import Solid
from printing.core.layout.record import plan_record
from printing.core.layout.request import PlacedLine
from printing.core.layout.solids import PlacedSolid, PlateSolids, plate_solids
from printing.plates.files import three_mf_reader
from printing.plates.files.assembly import compare_with_record, plate_facts, plate_file
from printing.plates.files.lettering import code_outlines
from printing.plates.files.three_mf import MODEL_PART, THUMBNAIL_PART, three_mf_bytes
from printing.plates.files.three_mf_reader import read_back
from tests.core.layout.workloads import line, prism, request

LINES = (
    line(1, count=12),
    line(2, count=7, footprint_um=(8_000, 8_000), layers=80),
    line(3, count=9, outline="stadium", footprint_um=(12_000, 5_000), layers=70),
)


def meshes(lines: tuple[PlacedLine, ...] = LINES) -> dict[str, Any]:
    return {one.code: prism(one) for one in lines}


def plate(lines: tuple[PlacedLine, ...] = LINES) -> dict[str, Any]:
    (one,) = plan_record(make_plan(request(*lines, tests=())))["plates"]
    return one


PLATE = plate()
SOLIDS = plate_solids(PLATE, meshes(), code_outlines())
DATA = plate_file(PLATE, meshes())
UNITS = {unit["code"]: (zone, unit) for zone in PLATE["zones"] for unit in zone["units"]}
VOLUMES = {one.code: one.volume_um3 / 1e9 for one in LINES}


def _strict() -> Any:
    model = lib3mf.Wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromBuffer(DATA)
    assert [reader.GetWarning(k) for k in range(reader.GetWarningCount())] == []
    return model


def test_lib3mf_reads_every_item_in_strict_mode() -> None:
    model = _strict()
    items = model.GetBuildItems()
    found: dict[str, tuple[str, float]] = {}
    while items.MoveNext():
        item = items.GetCurrent()
        mesh = model.GetMeshObjectByID(item.GetObjectResourceID())
        assert mesh.IsManifoldAndOriented()
        kind = "model" if mesh.GetType() == lib3mf.ObjectType.Model else "other"
        if mesh.GetType() == lib3mf.ObjectType.SolidSupport:
            kind = "solidsupport"
        points = np.array([tuple(mesh.GetVertex(k).Coordinates) for k in range(mesh.GetVertexCount())], dtype=float)
        faces = np.array([tuple(mesh.GetTriangle(k).Indices) for k in range(mesh.GetTriangleCount())])
        found[item.GetPartNumber()] = (kind, trimesh.Trimesh(points, faces, process=False).volume)
    models = {name for name, (kind, _) in found.items() if kind == "model"}
    assert models == set(UNITS)
    assert {kind for kind, _ in found.values()} == {"model", "solidsupport"}
    assert {zone["code"] for zone in PLATE["zones"]} <= set(found) - models
    assert len(found) == 2 * len(UNITS) + 3
    for code, (zone, _) in UNITS.items():
        solid = next(item.mesh for item in SOLIDS.items if item.part_number == code)
        assert found[code][1] == pytest.approx(SOLIDS.meshes[solid].volume_mm3, rel=1e-5)  # lib3mf keeps 32 bits
        assert found[code][1] == pytest.approx(VOLUMES[zone["line"]], rel=4e-3)  # 48 sides for a circle: -0.29 %


def test_trimesh_reads_volumes_that_stand_where_they_were_planned() -> None:
    scene = trimesh.load_scene(io.BytesIO(DATA), file_type="3mf")
    assert len(scene.geometry) == 3 + 3 + 3  # units, necks, rafts: one mesh each, however often it stands
    assert all(mesh.is_volume for mesh in scene.geometry.values())
    placed = [mesh for mesh in scene.dump(concatenate=False) if abs(mesh.bounds[0][2] - 1.6) < 1e-6]
    centres = {tuple(round(float(v) * 1000) for v in mesh.bounds.mean(axis=0)[:2]) for mesh in placed}
    assert centres == {(unit["x_um"], unit["y_um"]) for _, unit in UNITS.values()}
    assert len(placed) == len(UNITS)
    total = sum(VOLUMES[zone["line"]] for zone, _ in UNITS.values())
    assert sum(mesh.volume for mesh in placed) == pytest.approx(total, rel=4e-3)
    assert scene.bounds[0][2] == pytest.approx(0.0)
    assert scene.bounds[1][2] == pytest.approx(PLATE["layers"] * 0.05)


def test_our_reader_agrees_with_what_was_written() -> None:
    read = read_back(DATA)
    assert read.metadata["d:batch"] == PLATE["batch"]
    assert read.metadata["d:layers"] == str(PLATE["layers"])
    assert {item.part_number for item in read.items if item.kind == "model"} == set(UNITS)
    for item in read.items:
        if item.part_number in UNITS:
            zone, unit = UNITS[item.part_number]
            assert item.low_mm[2] == pytest.approx(1.6)
            assert (item.low_mm[0] + item.high_mm[0]) / 2 == pytest.approx(unit["x_um"] / 1000, abs=1e-3)
            assert item.high_mm[2] - item.low_mm[2] == pytest.approx(zone["height_um"] / 1000)


def test_a_stadium_that_is_turned_lies_turned_in_the_file() -> None:
    turned = [code for code, (zone, unit) in UNITS.items() if unit["rotation_deg"] == 90]
    straight = plate((replace(LINES[2], count=2, spares=0, unit_codes=LINES[2].unit_codes[:2]),))
    assert turned or any(unit["rotation_deg"] == 90 for zone in straight["zones"] for unit in zone["units"])
    items = {item.part_number: item for item in read_back(DATA).items}
    for code in turned:
        size = [high - low for low, high in zip(items[code].low_mm, items[code].high_mm, strict=True)]
        assert size[:2] == pytest.approx([5.0, 12.0], abs=1e-3)


def test_quarter_turns_run_counter_clockwise() -> None:
    """A wedge along +x points along +y after 90 degrees, -x after 180, -y after 270; a stadium cannot tell."""
    wedge = Solid(
        vertices_mm=np.array([[0.0, 0, 0], [3, 0, 0], [0, 1, 0], [0, 0, 1]]),
        faces=np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]),
    )
    tips = {0: (13.0, 20.0), 90: (10.0, 23.0), 180: (7.0, 20.0), 270: (10.0, 17.0)}
    items = tuple(
        PlacedSolid(
            mesh="wedge", part_number=str(turn), kind="model", x_um=10_000, y_um=20_000, z_um=0, rotation_deg=turn
        )
        for turn in tips
    )
    data = three_mf_bytes(PlateSolids(meshes={"wedge": wedge}, items=items), plate_facts(PLATE))
    corners = [mesh.vertices for mesh in trimesh.load_scene(io.BytesIO(data), file_type="3mf").dump(concatenate=False)]
    for item in read_back(data).items:
        tip = tips[int(item.part_number)]
        assert item.volume_mm3 == pytest.approx(0.5)
        for axis in (0, 1):
            assert min(abs(item.low_mm[axis] - tip[axis]), abs(item.high_mm[axis] - tip[axis])) < 1e-9
        assert any(np.isclose(points[:, :2], tip).all(axis=1).any() for points in corners)


def test_the_same_plate_gives_the_same_bytes() -> None:
    assert plate_file(PLATE, meshes()) == DATA
    code = (
        "from tests.core.files.test_three_mf import DATA\n"
        "from dosewright.ground.pure.canonical import digest_of\nprint(digest_of(DATA))"
    )
    for seed in ("77",):
        done = subprocess.run(
            [sys.executable, "-c", code], env={**os.environ, "PYTHONHASHSEED": seed}, capture_output=True, check=True
        )
        assert done.stdout.decode().strip() == digest_of(DATA)


def test_a_thumbnail_travels_with_the_plate() -> None:
    from PIL import Image

    picture = io.BytesIO()
    Image.new("RGB", (8, 8), "white").save(picture, "PNG")
    data = three_mf_bytes(SOLIDS, plate_facts(PLATE), thumbnail_png=picture.getvalue())
    assert zipfile.ZipFile(io.BytesIO(data)).read(THUMBNAIL_PART) == picture.getvalue()
    reader = lib3mf.Wrapper().CreateModel().QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromBuffer(data)
    assert reader.GetWarningCount() == 0


def _shifted(solids: PlateSolids, **change: int) -> PlateSolids:
    first = next(item for item in solids.items if item.kind == "model")
    moved = replace(first, **{name: getattr(first, name) + by for name, by in change.items()})
    return replace(solids, items=tuple(moved if item is first else item for item in solids.items))


def _swapped_mesh(solids: PlateSolids) -> PlateSolids:
    models = [item for item in solids.items if item.kind == "model"]
    one, other = models[0], next(item for item in models if item.mesh != models[0].mesh)
    items: list[PlacedSolid] = []
    for item in solids.items:
        items.append(replace(item, mesh=other.mesh) if item is one else item)
    return replace(solids, items=tuple(items))


def _renamed(solids: PlateSolids) -> PlateSolids:
    first = next(item for item in solids.items if item.kind == "model")
    return replace(
        solids,
        items=tuple(replace(item, part_number="UN-OTHER") if item is first else item for item in solids.items),
    )


@pytest.mark.parametrize(
    "wrong",
    [
        _shifted(SOLIDS, x_um=20),
        _shifted(SOLIDS, y_um=-20),
        _swapped_mesh(SOLIDS),
        _renamed(SOLIDS),
        replace(SOLIDS, items=SOLIDS.items[2:]),
        replace(SOLIDS, items=(*SOLIDS.items, SOLIDS.items[0])),
    ],
    ids=["moved in x", "moved in y", "another unit's mesh", "another name", "unit left out", "unit twice"],
)
def test_a_file_that_is_not_the_plan_is_found_after_writing(wrong: PlateSolids) -> None:
    data = three_mf_bytes(wrong, plate_facts(PLATE))
    with pytest.raises(Conflict):
        compare_with_record(data, PLATE, SOLIDS)


def test_a_file_of_another_plan_is_found() -> None:
    other = copy.deepcopy(PLATE)
    other["lot"] = "RN-B"
    with pytest.raises(Conflict) as caught:
        compare_with_record(DATA, other, SOLIDS)
    assert {"d:lot", "d:plan_sha256"} <= {one.field for one in caught.value.refusals}


def _package(model: bytes, *, name: str = MODEL_PART, more: int = 0) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr(name, model)
        for number in range(more):
            package.writestr(f"{number}.txt", b"x")
    return target.getvalue()


MODEL = zipfile.ZipFile(io.BytesIO(DATA)).read(MODEL_PART)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"no zip at all",
        DATA[:-30],
        _package(MODEL, name="3D/other.model"),
        _package(MODEL, more=20),
        _package(MODEL[: len(MODEL) // 2]),
        _package(MODEL.replace(b"<model", b'<!DOCTYPE model [<!ENTITY a "aaaa">]><model', 1)),
        _package(MODEL.replace(b'v1="0"', b'v1="999999"', 1)),
        _package(MODEL.replace(b'v1="0"', b'v1="-1"', 1)),
        _package(MODEL.replace(b'objectid="1"', b'objectid="4711"', 1)),
        _package(MODEL.replace(b'x="', b'x="nan', 1)),
        _package(MODEL.replace(b'<vertex x="', b'<vertex q="', 1)),
        _package(MODEL.replace(b'transform="1 ', b'transform="', 1)),
        _package(MODEL.replace(b'<object id="2"', b'<object id="1"', 1)),
        _package(MODEL.replace(b"<mesh>", b"<components/><mesh>", 1)),
    ],
    ids=["empty", "no zip", "cut", "no model", "too many parts", "half", "document type", "beyond", "before",
         "no object", "nan", "no x", "short matrix", "number twice", "components"],
)  # fmt: skip
def test_files_that_are_none_are_refused(data: bytes) -> None:
    with pytest.raises(BadInput):
        read_back(data)


def test_a_bomb_is_refused_by_its_declared_and_by_its_real_size(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(three_mf_reader, "MAX_PART_BYTES", 1_000)
    with pytest.raises(BadInput, match="unpacks to more"):
        read_back(DATA)
    bomb = bytearray(_package(b" " * 10_000))
    central = bomb.rindex(b"PK\x01\x02")
    bomb[central + 24 : central + 28] = (10).to_bytes(4, "little")
    bomb[22:26] = (10).to_bytes(4, "little")
    with pytest.raises(BadInput):
        read_back(bytes(bomb))


@pytest.mark.parametrize("name", ["MAX_FILE_BYTES", "MAX_ITEMS", "MAX_POINTS"])
def test_caps_hold(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(three_mf_reader, name, 5)
    with pytest.raises(BadInput):
        read_back(DATA)


def test_two_hundred_units_stay_small() -> None:
    many = (line(9, count=200, spares=0, footprint_um=(5_000, 5_000)),)
    data = plate_file(plate(many), meshes(many))
    assert len(data) < 45_000


def test_odd_turns_and_mixed_kinds_are_refused() -> None:
    with pytest.raises(ValueError, match="quarter turns"):
        three_mf_bytes(_shifted(SOLIDS, rotation_deg=45), plate_facts(PLATE))
    first = next(item for item in SOLIDS.items if item.kind == "model")
    mixed = replace(SOLIDS, items=(*SOLIDS.items, replace(first, kind="solidsupport")))
    with pytest.raises(ValueError, match="both"):
        three_mf_bytes(mixed, plate_facts(PLATE))
