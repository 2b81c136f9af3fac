"""Binary STL of one unit, for printers that take nothing else; read back with its length checked first."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from dosewright.ground.pure.errors import BadInput, Refusal
from printing.core.layout.rafts import Solid

HEADER = b"Dosewright unit, lengths in mm"
HEADER_BYTES = 80
COUNT_BYTES = 4
TRIANGLE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("extra", "<u2")])
"""50 bytes a triangle: normal, three corners in 32-bit floats, an unused word."""

MAX_TRIANGLES = 5_000_000


def stl_bytes(solid: Solid) -> bytes:
    """Return `solid` as binary STL; equal solids give equal bytes. Corners lose precision beyond 7 digits."""
    corners = solid.vertices_mm[solid.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    table = np.zeros(len(corners), dtype=TRIANGLE)
    table["normal"] = np.divide(normals, length, out=np.zeros_like(normals), where=length > 0) + 0.0
    table["corners"] = corners
    count = np.array([len(corners)], dtype="<u4").tobytes()
    return HEADER.ljust(HEADER_BYTES, b"\0") + count + table.tobytes()


def stl_corners(data: bytes) -> NDArray[np.float64]:
    """Return the triangles' corners [mm], shape (n, 3, 3).

    Raises BadInput unless the length is exactly 84 + 50 n bytes, n is at least 1, and every figure is finite.
    """
    start = HEADER_BYTES + COUNT_BYTES
    if len(data) < start:
        raise _bad("shorter than a header", len(data), start)
    count = int.from_bytes(data[HEADER_BYTES:start], "little")
    if not 1 <= count <= MAX_TRIANGLES or len(data) != start + TRIANGLE.itemsize * count:
        raise _bad("not as long as its number of triangles says", len(data), start + TRIANGLE.itemsize * count)
    corners = np.frombuffer(data, dtype=TRIANGLE, offset=start)["corners"].astype(np.float64)
    if not np.isfinite(corners).all():
        raise _bad("corners that are not finite", len(data), len(data))
    return corners


def _bad(message: str, found: int, wanted: int) -> BadInput:
    return BadInput(Refusal(field="stl", message=message, value=f"{found} bytes", limit=f"{wanted} bytes", rule="stl"))
