"""Closed triangle meshes whose volume is the volume of the body they stand for."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from dosewright.ground.pure.errors import BadInput

NM_PER_MM = 1_000_000
"""Vertices are quantised to 1e-6 mm, so that the same unit has the same bytes on every machine."""

POLYGON_SIDES = 256
"""At 256 sides the outline of a disc of exact area is 0.0025 % longer than its circle."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mesh:
    """A triangle mesh in the print frame: the build plate is z = 0, z grows away from it.

    ``vertices_mm`` is [mm], (n, 3), quantised to 1e-6 mm on creation; ``faces`` is (m, 3), counter-clockwise
    seen from outside.  Both arrays are read-only.
    """

    vertices_mm: NDArray[np.float64]
    faces: NDArray[np.int64]

    def __post_init__(self) -> None:
        vertices = np.asarray(self.vertices_mm, dtype=np.float64)
        faces = np.array(self.faces, dtype=np.int64)
        _refuse_malformed(vertices, faces)
        quantised = np.rint(vertices * NM_PER_MM) / NM_PER_MM
        quantised.setflags(write=False)
        faces.setflags(write=False)
        object.__setattr__(self, "vertices_mm", quantised)
        object.__setattr__(self, "faces", faces)

    @property
    def vertices_nm(self) -> NDArray[np.int64]:
        """The vertices as whole nanometres."""
        return np.rint(self.vertices_mm * NM_PER_MM).astype(np.int64)

    @property
    def extent_mm(self) -> tuple[float, float, float]:
        """The size of the enclosing box along x, y and z [mm]."""
        x, y, z = self.vertices_mm.max(axis=0) - self.vertices_mm.min(axis=0)
        return float(x), float(y), float(z)


def disc_mesh(radius_mm: float, height_mm: float, sides: int = POLYGON_SIDES) -> Mesh:
    """Return a disc standing on its flat face, with the area of its circle kept.

    The outline is a regular polygon with circumscribed radius r sqrt(2 pi / (N sin(2 pi / N))), whose area
    is pi r^2 (a plain inscribed 64-gon would lose 0.16 %, S-13); after its vertices are quantised, single ones
    move by one quantum until the area is right to half of what one of them can change (about 4e-9 mm / r).

    radius_mm: [mm] > 0.  height_mm: [mm] > 0.  sides: N >= 128.
    Raises BadInput outside these ranges.  Source: area of a regular polygon, N/2 R^2 sin(2 pi / N).
    """
    _refuse_unless_positive("radius_mm", radius_mm)
    _refuse_unless_positive("height_mm", height_mm)
    if sides < 128:
        raise BadInput.because("sides", "too few sides for a round outline", value=str(sides), accepted="128 or more")
    ring = _ring_of_area(radius_mm, sides) / NM_PER_MM
    centres = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, height_mm]])
    lower = np.column_stack([ring, np.zeros(sides)])
    upper = np.column_stack([ring, np.full(sides, height_mm)])
    return Mesh(vertices_mm=np.vstack([centres, lower, upper]), faces=_prism_faces(sides))


def volume_mm3(mesh: Mesh) -> float:
    """Return the enclosed volume [mm3] of a closed mesh, positive when its faces look outward.

    Source: divergence theorem, sum of signed tetrahedra (a, b, c) / 6.
    """
    a, b, c = _corners(mesh)
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)


def surface_mm2(mesh: Mesh) -> float:
    """Return the area of all faces [mm2].  Source: half the length of the cross product of two edges."""
    a, b, c = _corners(mesh)
    return float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2.0)


def is_closed(mesh: Mesh) -> bool:
    """Return whether every edge is walked exactly once in each direction (closed, consistently oriented)."""
    edges = np.vstack([mesh.faces[:, [0, 1]], mesh.faces[:, [1, 2]], mesh.faces[:, [2, 0]]])
    forward = {(int(i), int(j)) for i, j in edges}
    return len(forward) == len(edges) and all((j, i) in forward for i, j in forward)


def _corners(mesh: Mesh) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    a, b, c = (mesh.vertices_mm[mesh.faces[:, k]] for k in range(3))
    return a, b, c


@lru_cache(maxsize=8)
def _unit_ring(sides: int) -> NDArray[np.float64]:
    angles = [math.tau * k / sides for k in range(sides)]
    ring = np.array([[math.cos(angle), math.sin(angle)] for angle in angles])
    ring.setflags(write=False)
    return ring


def _ring_of_area(radius_mm: float, sides: int) -> NDArray[np.int64]:
    """The outline in whole nanometres, its area pi r^2 as nearly as moving single vertices by 1 nm allows."""
    circumscribed_nm = NM_PER_MM * radius_mm * math.sqrt(math.tau / (sides * math.sin(math.tau / sides)))
    ring = np.rint(circumscribed_nm * _unit_ring(sides)).astype(np.int64).tolist()
    missing = round(math.tau * (radius_mm * NM_PER_MM) ** 2) - _doubled_area(ring)
    # The stride is coprime with a power of two and spreads the moved vertices over the outline.
    for place in range(sides):
        at = place * 97 % sides
        before, here, after = ring[at - 1], ring[at], ring[(at + 1) % sides]
        axis = 0 if abs(here[0]) >= abs(here[1]) else 1
        gain = abs(after[1 - axis] - before[1 - axis])
        if gain < 2 * abs(missing):
            outward = 1 if missing > 0 else -1
            here[axis] += outward if here[axis] > 0 else -outward
            missing -= outward * gain
    return np.array(ring, dtype=np.int64)


def _doubled_area(ring: list[list[int]]) -> int:
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(ring, [*ring[1:], ring[0]], strict=True))


def _prism_faces(sides: int) -> NDArray[np.int64]:
    """Vertex 0 is the lower centre, 1 the upper one, then the lower ring and the upper ring."""
    here = np.arange(sides)
    there = (here + 1) % sides
    low, next_low, high, next_high = here + 2, there + 2, here + 2 + sides, there + 2 + sides
    floor, roof = np.zeros(sides, dtype=np.int64), np.ones(sides, dtype=np.int64)
    parts = [
        np.column_stack([floor, next_low, low]),
        np.column_stack([low, next_low, next_high]),
        np.column_stack([low, next_high, high]),
        np.column_stack([roof, high, next_high]),
    ]
    return np.vstack(parts).astype(np.int64)


def _refuse_malformed(vertices: NDArray[np.float64], faces: NDArray[np.int64]) -> None:
    if vertices.ndim != 2 or vertices.shape[1] != 3 or not np.isfinite(vertices).all():
        raise BadInput.because("vertices_mm", "vertices are not finite points in space", accepted="(n, 3) numbers")
    if faces.ndim != 2 or faces.shape[1] != 3 or not len(faces):
        raise BadInput.because("faces", "faces are not triangles", accepted="(m, 3) vertex numbers, m > 0")
    if faces.min() < 0 or faces.max() >= len(vertices):
        raise BadInput.because("faces", "a face names a vertex that is not there", accepted=f"0 to {len(vertices) - 1}")


def _refuse_unless_positive(field: str, value: float) -> None:
    if not (math.isfinite(value) and value > 0):
        raise BadInput.because(field, "is not a positive length", value=str(value), unit="mm", accepted="more than 0")
