"""A sized dose as exact text that is kept, and back again as the mesh that is written. PURE."""

from __future__ import annotations

import json
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from dosewright.ground.pure.errors import Conflict, Refusal
from printing.core.dose.meshes import Mesh, volume_mm3
from printing.core.dose.shapes import shape_named
from printing.core.dose.sizing import SizedDose

VOLUME_SLACK_FRAC = 1e-12


def exact(value: Any) -> Any:
    """Return `value` with every float as the shortest decimal that reads back as the same float."""
    if isinstance(value, float):
        return Decimal(repr(value))
    if isinstance(value, Mapping):
        return {name: exact(item) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [exact(item) for item in value]
    return value


def size_record(sized: SizedDose) -> dict[str, Any]:
    """Return a sized dose as the record that is kept: the `size` answer, the design, the footprint."""
    unit, design = sized.unit, sized.unit.design
    record = {
        **sized.as_dict(),
        "ordered_mg": sized.ordered_mg,
        "predicted_mg": sized.predicted_mg,
        "expanded_frac": None if sized.budget is None else sized.budget.expanded_frac,
        "design": {
            "shape": design.shape,
            "rule": design.rule,
            "orientation": design.orientation,
            "mount": design.mount,
            "layer_um": design.layer_um,
            "outline": unit.outline,
        },
        "footprint_um": list(unit.footprint_um),
        "surface_to_volume_mm": unit.surface_to_volume_mm,
    }
    kept: dict[str, Any] = exact(record)
    return kept


def mesh_of(record: Mapping[str, Any]) -> Mesh:
    """Return the mesh of a kept size, drawn again from its dimensions.

    Raises Conflict when it does not enclose the volume that was kept: then the drawing has changed since.
    """
    unit = record["unit"]
    drawn = {name: float(length) for name, length in unit["drawn_mm"].items()}
    mesh = shape_named(record["design"]["shape"], record["design"]["orientation"]).mesh(drawn)
    kept = float(unit["mesh_volume_mm3"])
    if abs(volume_mm3(mesh) - kept) > VOLUME_SLACK_FRAC * kept:
        raise Conflict(
            Refusal(
                field="mesh",
                message="the unit drawn again is not the unit that was sized",
                value=repr(volume_mm3(mesh)),
                limit=repr(kept),
                unit="mm3",
                accepted="a new plan",
                rule="mesh",
            )
        )
    return mesh


def read_size(text: str) -> dict[str, Any]:
    """Return the record of a kept size; numbers stand in it as text."""
    record: dict[str, Any] = json.loads(text)
    return record


def micrograms(value_mg: float | Decimal) -> int:
    """Return milligrams as whole micrograms, rounded half up; for accounts and limits, never for a dose."""
    return _whole(value_mg, 1000)


def nanograms(value_mg: float | Decimal) -> int:
    """Return milligrams as whole nanograms, rounded half up: a unit may hold 12.5 micrograms."""
    return _whole(value_mg, 1_000_000)


def _whole(value_mg: float | Decimal, per_mg: int) -> int:
    exactly = Decimal(repr(value_mg)) if isinstance(value_mg, float) else value_mg
    return int(exactly * per_mg + Decimal("0.5"))
