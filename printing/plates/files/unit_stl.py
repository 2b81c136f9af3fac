"""One unit's mesh as an STL file."""

from __future__ import annotations

from printing.core.dose.meshes import Mesh
from printing.core.layout.rafts import placed_in_frame
from printing.plates.files.stl import stl_bytes


def unit_stl(mesh: Mesh) -> bytes:
    """Return one unit, standing centred on the plate, as binary STL."""
    return stl_bytes(placed_in_frame(mesh.vertices_mm, mesh.faces))
