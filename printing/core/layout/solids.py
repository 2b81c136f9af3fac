"""A plate as solids in space: units, their necks, rafts with codes; equal geometry is one mesh, placed often."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from dosewright.ground.pure.canonical import digest_of
from dosewright.ground.pure.codes import raised_part
from dosewright.ground.pure.errors import BadInput, Refusal, refuse_if_any
from printing.core.layout.neck_places import neck_solid
from printing.core.layout.necks import NeckRules
from printing.core.layout.rafts import Faces, Outlines, Solid, Vertices, placed_in_frame, raft_solid
from printing.core.layout.request import RaftRules

FOOTPRINT_SLACK_UM = 2
"""How far a mesh's extent may differ from the planned footprint and height: the rounding to micrometres."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedSolid:
    """One item on the plate: a mesh by key, turned counter-clockwise about z and then moved [um]."""

    mesh: str
    part_number: str
    kind: Literal["model", "solidsupport"]
    x_um: int
    y_um: int
    z_um: int
    rotation_deg: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateSolids:
    """All meshes of a plate by key, and where each stands."""

    meshes: Mapping[str, Solid]
    items: tuple[PlacedSolid, ...]


def plate_solids(
    plate: Mapping[str, Any], unit_meshes: Mapping[str, tuple[Vertices, Faces]], outlines: Outlines
) -> PlateSolids:
    """Return the solids of one plate of a plan's record.

    ``unit_meshes`` holds vertices [mm] and triangles of one unit per line code named by ``geometry_of``, in
    its print orientation. Raises BadInput when one is missing, is not as large as planned, or carries no necks.
    """
    rules = raft_rules(plate)
    meshes: dict[str, Solid] = {}
    items: list[PlacedSolid] = []
    units = {code: placed_in_frame(*unit_meshes[code]) for code in _lines(plate, unit_meshes)}
    for zone in plate["zones"]:
        unit = units[zone["geometry_of"]]
        _check_size(zone, unit)
        unit_key = _add(meshes, "unit", unit)
        neck_key = _necks_key(meshes, zone, unit, rules)
        base = rules.slab_um + (rules.finger_gap_um if neck_key else 0)
        for one in zone["units"]:
            place = {"x_um": one["x_um"], "y_um": one["y_um"], "z_um": base, "rotation_deg": one["rotation_deg"]}
            items.append(PlacedSolid(mesh=unit_key, part_number=one["code"], kind="model", **place))
            if neck_key:
                items.append(
                    PlacedSolid(mesh=neck_key, part_number=f"{one['code']} necks", kind="solidsupport", **place)
                )
        items.append(_raft(meshes, zone, rules, outlines))
    return PlateSolids(meshes=meshes, items=tuple(items))


def raft_rules(plate: Mapping[str, Any]) -> RaftRules:
    """Return the raft's lengths as the plate's record keeps them."""
    kept = plate["raft"]
    return RaftRules(
        border_um=kept["border_um"],
        tab_gap_um=kept["tab_gap_um"],
        slab_um=kept["slab_um"],
        bevel_um=kept["bevel_um"],
        finger_gap_um=kept["finger_gap_um"],
        relief_um=kept["relief_um"],
    )


def _lines(plate: Mapping[str, Any], unit_meshes: Mapping[str, tuple[Vertices, Faces]]) -> list[str]:
    lines = sorted({zone["geometry_of"] for zone in plate["zones"]})
    refuse_if_any(
        BadInput,
        [
            Refusal(field=f"unit_meshes.{line}", message="no mesh for the units of this line", rule="plate-solids")
            for line in lines
            if line not in unit_meshes
        ],
    )
    return lines


def _check_size(zone: Mapping[str, Any], unit: Solid) -> None:
    if not unit.volume_mm3 > 0:
        raise BadInput.because(f"unit_meshes.{zone['geometry_of']}", "the mesh encloses no volume: open or inside out")
    size = unit.vertices_mm.max(axis=0) - unit.vertices_mm.min(axis=0)
    planned = (*zone["units"][0]["footprint_um"], zone["height_um"])
    for axis, found, wanted in zip("xyz", size, planned, strict=True):
        if abs(float(found) * 1000 - wanted) > FOOTPRINT_SLACK_UM:
            raise BadInput.because(
                f"unit_meshes.{zone['geometry_of']}.{axis}",
                "the mesh is not as large as planned",
                value=f"{float(found) * 1000:.1f}",
                limit=str(wanted),
                unit="um",
            )


def _necks_key(meshes: dict[str, Solid], zone: Mapping[str, Any], unit: Solid, rules: RaftRules) -> str | None:
    necks = zone["necks"]
    if necks is None:
        return None
    return _add(meshes, "necks", neck_solid(unit, NeckRules(**necks), rules))


def _raft(meshes: dict[str, Solid], zone: Mapping[str, Any], rules: RaftRules, outlines: Outlines) -> PlacedSolid:
    polygon = zone["polygon_um"]
    solid = raft_solid(polygon, zone["tab_um"], zone["tab_rotation_deg"], raised_part(zone["code"]), rules, outlines)
    low_x, low_y = (min(corner[axis] for corner in polygon) for axis in (0, 1))
    return PlacedSolid(
        mesh=_add(meshes, "raft", solid),
        part_number=zone["code"],
        kind="solidsupport",
        x_um=low_x,
        y_um=low_y,
        z_um=0,
        rotation_deg=0,
    )


def _add(meshes: dict[str, Solid], kind: str, solid: Solid) -> str:
    """Keep `solid` once; equal vertices and triangles share a key."""
    data = solid.vertices_mm.astype("<f8").tobytes() + solid.faces.astype("<i8").tobytes()
    key = f"{kind}-{digest_of(data)}"
    meshes.setdefault(key, solid)
    return key
