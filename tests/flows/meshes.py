"""A plate file as two foreign libraries read it, and the dose that the model's terms make of each unit's mesh.

The dose is worked out here from the triangles alone, with the formulation's published terms and the lot's strength:
    content = unit strength x density x (slices + bleed x perimeter_layer + overcure x facing - leached x surface)
              x (1 - bound)
(design of the model: content of a washed, dried unit; see the formulation's own text for its invented terms). For a
disc that lies flat, the mesh's volume is the sum of its slices, its upright faces are the perimeter times the layer
height, and its lower face is what faces the plate.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import lib3mf
import numpy as np
import trimesh

UPRIGHT = 1e-6
"""A face is upright when its normal's height is below this."""

KINDS = {lib3mf.ObjectType.Model: "model", lib3mf.ObjectType.SolidSupport: "solidsupport"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Solid:
    """One object as read: volume, whole surface, upright faces and the face to the plate, and where it stands."""

    volume_mm3: float
    surface_mm2: float
    upright_mm2: float
    lower_mm2: float
    centre_um: tuple[int, int]


def by_lib3mf(data: bytes) -> dict[str, tuple[str, Solid]]:
    """Return kind and solid of every build item by its part number, read in strict mode without a warning."""
    model = lib3mf.Wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromBuffer(data)
    assert [reader.GetWarning(number) for number in range(reader.GetWarningCount())] == []
    meshes: dict[int, tuple[Any, Any, str]] = {}
    found: dict[str, tuple[str, Solid]] = {}
    items = model.GetBuildItems()
    while items.MoveNext():
        item = items.GetCurrent()
        number = item.GetObjectResourceID()
        if number not in meshes:
            meshes[number] = _lib3mf_mesh(model.GetMeshObjectByID(number))
        points, faces, kind = meshes[number]
        fields = np.array([list(row) for row in item.GetObjectTransform().Fields], dtype=float)
        code = item.GetPartNumber()
        assert code not in found, f"part number {code} stands twice"
        found[code] = (kind, _solid(trimesh.Trimesh(points @ fields[:3] + fields[3], faces, process=False)))
    return found


def _lib3mf_mesh(mesh: Any) -> tuple[Any, Any, str]:
    assert mesh.IsManifoldAndOriented()
    points = np.array([list(mesh.GetVertex(k).Coordinates) for k in range(mesh.GetVertexCount())], dtype=float)
    faces = np.array([list(mesh.GetTriangle(k).Indices) for k in range(mesh.GetTriangleCount())])
    return points, faces, KINDS[mesh.GetType()]


def by_trimesh(data: bytes, plate: Mapping[str, Any]) -> dict[str, Solid]:
    """Return the solid of every unit by its code, found by where the plan puts its centre.

    trimesh keeps no part numbers; what stands at a unit's centre and is lifted off the raft is the unit.
    """
    scene = trimesh.load_scene(io.BytesIO(data), file_type="3mf")
    places = {(unit["x_um"], unit["y_um"]): unit["code"] for zone in plate["zones"] for unit in zone["units"]}
    highest: dict[str, tuple[float, Solid]] = {}
    for mesh in scene.dump(concatenate=False):
        assert mesh.is_volume
        assert mesh.body_count >= 1
        solid = _solid(mesh)
        code = places.get(solid.centre_um)
        if code is not None and mesh.bounds[1][2] > highest.get(code, (0.0, solid))[0]:
            highest[code] = (float(mesh.bounds[1][2]), solid)
    return {code: solid for code, (_, solid) in highest.items()}


def _solid(mesh: trimesh.Trimesh) -> Solid:
    normals, areas = mesh.face_normals, mesh.area_faces
    centre = mesh.bounds.mean(axis=0) * 1000
    return Solid(
        volume_mm3=float(mesh.volume),
        surface_mm2=float(mesh.area),
        upright_mm2=float(areas[np.abs(normals[:, 2]) < UPRIGHT].sum()),
        lower_mm2=float(areas[normals[:, 2] < -1 + UPRIGHT].sum()),
        centre_um=(round(float(centre[0])), round(float(centre[1]))),
    )


def content_mg(solid: Solid, terms: Mapping[str, Any], *, resin_strength_mg_g: float) -> float:
    """Return what the model says that a unit with this mesh holds [mg]."""
    term = {name: float(value) for name, value in terms.items() if _is_number(value)}
    unit_strength_frac = resin_strength_mg_g / 1000 * term["transfer_factor"]
    grown_mm3 = (
        solid.volume_mm3
        + term["bleed_mm"] * solid.upright_mm2
        + term["overcure_mm"] * solid.lower_mm2
        - term["leached_mm"] * solid.surface_mm2
    )
    return unit_strength_frac * term["density_mg_mm3"] * grown_mm3 * (1 - term["bound_frac"])


def _is_number(value: Any) -> bool:
    try:
        float(value)
    except (TypeError, ValueError):
        return False
    return True
