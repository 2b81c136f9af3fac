"""From a plate of the plan's record to its file, compared with the record after writing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dosewright.ground.pure.errors import Conflict, Refusal, refuse_if_any
from printing.core.layout.rafts import Faces, Vertices
from printing.core.layout.record import record_hash
from printing.core.layout.solids import PlateSolids, plate_solids
from printing.plates.files.lettering import code_outlines
from printing.plates.files.three_mf import PlateFacts, three_mf_bytes
from printing.plates.files.three_mf_reader import ReadItem, read_back

PLACE_SLACK_MM = 0.003
VOLUME_SLACK_FRAC = 1e-6
"""What rounding to micrometres and to 1e-6 mm can move a bound or a volume by."""


def plate_facts(plate: Mapping[str, Any]) -> PlateFacts:
    """Return what the plate file says about itself."""
    return PlateFacts(
        batch=plate["batch"],
        printer=plate["printer"],
        formulation=plate["formulation"],
        lot=plate["lot"],
        profile=plate["profile"],
        layer_um=plate["layer_um"],
        layers=plate["layers"],
        plan_sha256=record_hash(dict(plate)),
    )


def plate_file(
    plate: Mapping[str, Any], unit_meshes: Mapping[str, tuple[Vertices, Faces]], *, thumbnail_png: bytes | None = None
) -> bytes:
    """Return the checked plate file of one plate.

    ``unit_meshes`` holds vertices [mm] and triangles of one unit per line code. Raises BadInput when meshes and
    plan do not agree, Conflict when the file read back is not the plate.
    """
    solids = plate_solids(plate, unit_meshes, code_outlines())
    data = three_mf_bytes(solids, plate_facts(plate), thumbnail_png=thumbnail_png)
    compare_with_record(data, plate, solids)
    return data


def compare_with_record(data: bytes, plate: Mapping[str, Any], solids: PlateSolids) -> None:
    """Raise Conflict unless the file holds exactly the plate's units, where and as large as planned."""
    read = read_back(data)
    found = _metadata_faults(read.metadata, plate)
    items = {item.part_number: item for item in read.items}
    planned = {unit["code"]: (zone, unit) for zone in plate["zones"] for unit in zone["units"]}
    if len(items) != len(read.items):
        found.append(_fault("part numbers", "one is used twice", None, None))
    models = {item.part_number for item in read.items if item.kind == "model"}
    for code in sorted(models ^ set(planned)):
        found.append(_fault(code, "a unit of the plan is missing or another is in the file", None, None))
    volumes = {item.part_number: solids.meshes[item.mesh].volume_mm3 for item in solids.items}
    for code in sorted(models & set(planned)):
        found += _unit_faults(items[code], *planned[code], volume_mm3=volumes[code])
    refuse_if_any(Conflict, found)


def _metadata_faults(metadata: Mapping[str, str], plate: Mapping[str, Any]) -> list[Refusal]:
    facts = plate_facts(plate)
    wanted = {
        "d:batch": facts.batch,
        "d:lot": facts.lot,
        "d:formulation": facts.formulation,
        "d:layers": str(facts.layers),
        "d:plan_sha256": facts.plan_sha256,
    }
    return [
        _fault(name, "not as planned", metadata.get(name), value)
        for name, value in wanted.items()
        if metadata.get(name) != value
    ]


def _unit_faults(
    item: ReadItem, zone: Mapping[str, Any], unit: Mapping[str, Any], *, volume_mm3: float
) -> list[Refusal]:
    found = []
    if abs(item.volume_mm3 - volume_mm3) > VOLUME_SLACK_FRAC * volume_mm3:
        found.append(_fault(unit["code"], "another volume than sized", f"{item.volume_mm3:.6f}", f"{volume_mm3:.6f}"))
    sides = unit["footprint_um"] if unit["rotation_deg"] % 180 == 0 else unit["footprint_um"][::-1]
    for axis, (centre, side) in enumerate(zip((unit["x_um"], unit["y_um"]), sides, strict=True)):
        low, high = (centre - side / 2) / 1000, (centre + side / 2) / 1000
        if abs(item.low_mm[axis] - low) > PLACE_SLACK_MM or abs(item.high_mm[axis] - high) > PLACE_SLACK_MM:
            found.append(
                _fault(
                    unit["code"],
                    f"another place in {'xy'[axis]} than planned",
                    f"{item.low_mm[axis]:.3f} to {item.high_mm[axis]:.3f}",
                    f"{low:.3f} to {high:.3f}",
                )
            )
    if abs(item.high_mm[2] - item.low_mm[2] - zone["height_um"] / 1000) > PLACE_SLACK_MM:
        found.append(
            _fault(
                unit["code"],
                "another height than planned",
                f"{item.high_mm[2] - item.low_mm[2]:.3f}",
                str(zone["height_um"] / 1000),
            )
        )
    return found


def _fault(field: str, message: str, value: str | None, limit: str | None) -> Refusal:
    return Refusal(field=field, message=message, value=value, limit=limit, rule="plate-file")
