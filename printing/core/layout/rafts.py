"""Everything of a zone that is not the unit, as closed triangle meshes: slab, raised code, necks.

Meshes are arrays of vertices [mm] (quantised to 1e-6 mm, so that bytes agree on every machine) and of
triangles. Letters come as outlines from the caller, because fonts are files and this module reads none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dosewright.ground.pure.errors import BadInput
from printing.core.layout.request import RaftRules

Vertices = NDArray[np.float64]
Faces = NDArray[np.int64]

QUANTUM_MM = 1e-6
EMBED_MM = 0.05
"""Letters and necks begin this deep inside the slab, so that the union is one body."""

TEXT_MARGIN_MM = 0.4
EMBOLDEN_MM = 0.04
"""Strokes grow by this on each side: at tab size a book face is thinner than three laser spots."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlines:
    """The letters of a face: closed contours (even-odd) and advance in font units; y runs upwards."""

    glyphs: Mapping[str, tuple[tuple[tuple[float, float], ...], ...]]
    advances: Mapping[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Solid:
    """One closed mesh: vertices [mm], shape (n, 3), and triangles, shape (m, 3), counter-clockwise outside."""

    vertices_mm: Vertices
    faces: Faces

    @property
    def volume_mm3(self) -> float:
        """Return the enclosed volume by the divergence theorem [mm3]."""
        corners = self.vertices_mm[self.faces]
        return float(np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])).sum() / 6)


def slab_volume_um3(width_um: int, depth_um: int, rules: RaftRules) -> int:
    """Return the volume of a rectangular slab with its bevelled lower edge [um3]."""
    bevel = rules.bevel_um
    lost = (width_um + depth_um) * bevel * bevel - 4 * bevel**3 // 3
    return width_um * depth_um * rules.slab_um - lost


def raft_solid(
    polygon_um: Sequence[Sequence[int]],
    tab_um: Sequence[int],
    tab_rotation_deg: int,
    text: str,
    rules: RaftRules,
    outlines: Outlines,
) -> Solid:
    """Return slab and raised code of one zone as one closed mesh, from the polygon's least x and y.

    Raises BadInput when a letter has no outline or the union is not one closed body.
    """
    low = np.min(np.asarray(polygon_um), axis=0)
    corners = (np.asarray(polygon_um) - low) / 1000
    tab = ((tab_um[0] - low[0]) / 1000, (tab_um[1] - low[1]) / 1000, tab_um[2] / 1000, tab_um[3] / 1000)
    body = _manifold(_slab(corners, rules)) + _raised(text, tab, tab_rotation_deg, rules, outlines)
    pieces = body.decompose()
    if len(pieces) != 1:
        raise BadInput.because("raft", "raft and raised code are not one closed body", value=text)
    return _solid_of(body)


def placed_in_frame(vertices_mm: Vertices, faces: Faces) -> Solid:
    """Return the mesh moved so that its bounding box is centred on x = y = 0 and stands on z = 0.

    The move is a whole number of 1e-6 mm, so a mesh that lies on that grid keeps its shape exactly.
    """
    points = np.asarray(vertices_mm, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 3 or not np.isfinite(points).all():
        raise BadInput.because("vertices_mm", "not a list of finite points", accepted="an array of shape (n, 3)")
    low, high = points.min(axis=0), points.max(axis=0)
    origin = quantised(np.array([(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, low[2]]))
    return Solid(vertices_mm=quantised(points - origin), faces=np.asarray(faces, dtype=np.int64))


def quantised(points: Vertices) -> Vertices:
    """Return `points` on the grid of 1e-6 mm, without negative zeros."""
    return np.round(points / QUANTUM_MM) * QUANTUM_MM + 0.0


def _slab(corners: Vertices, rules: RaftRules) -> Solid:
    count, bevel = len(corners), rules.bevel_um / 1000
    rings = [(_inset(corners, bevel), 0.0)] if bevel else []
    rings += [(corners, bevel), (corners, rules.slab_um / 1000)]
    points = np.vstack([np.column_stack([ring, np.full(count, z)]) for ring, z in rings])
    faces = [(0, k + 1, k) for k in range(1, count - 1)]
    top = (len(rings) - 1) * count
    faces += [(top, top + k, top + k + 1) for k in range(1, count - 1)]
    for level in range(len(rings) - 1):
        for k in range(count):
            a, b = level * count + k, level * count + (k + 1) % count
            faces += [(a, b, b + count), (a, b + count, a + count)]
    return Solid(vertices_mm=points, faces=np.array(faces, dtype=np.int64))


def _inset(corners: Vertices, distance: float) -> Vertices:
    """Move every side of a convex counter-clockwise polygon inwards and meet the neighbours again."""
    along = np.roll(corners, -1, axis=0) - corners
    normal = np.column_stack([-along[:, 1], along[:, 0]]) / np.hypot(along[:, 0], along[:, 1])[:, None]
    before = np.roll(normal, 1, axis=0)
    scale = distance / (1 + np.einsum("ij,ij->i", normal, before))
    return corners + (normal + before) * scale[:, None]


def _raised(text: str, tab: tuple[float, float, float, float], turn: int, rules: RaftRules, outlines: Outlines) -> Any:
    from manifold3d import CrossSection, FillRule, JoinType

    missing = sorted(set(text) - set(outlines.glyphs))
    if missing or not text:
        raise BadInput.because("code", "no outline for these characters", value="".join(missing))
    long, short = (tab[2], tab[3]) if turn == 0 else (tab[3], tab[2])
    contours = _contours(text, outlines)
    points = np.vstack(contours)
    low, high = points.min(axis=0), points.max(axis=0)
    margin = TEXT_MARGIN_MM + EMBOLDEN_MM
    size = min((long - 2 * margin) / (high[0] - low[0]), (short - 2 * margin) / (high[1] - low[1]))
    section = CrossSection([(one - (low + high) / 2) * size for one in contours], FillRule.EvenOdd)
    section = section.offset(EMBOLDEN_MM, JoinType.Miter, 2.0)
    height = rules.relief_um / 1000 + EMBED_MM
    letters = section.rotate(float(turn)).extrude(height)
    middle = (tab[0] + tab[2] / 2, tab[1] + tab[3] / 2, rules.slab_um / 1000 - EMBED_MM)
    return letters.translate(middle)


def _contours(text: str, outlines: Outlines) -> list[Vertices]:
    found: list[Vertices] = []
    pen = 0.0
    for character in text:
        found += [
            np.asarray(contour, dtype=np.float64) + np.array([pen, 0.0]) for contour in outlines.glyphs[character]
        ]
        pen += outlines.advances[character]
    return found


def _manifold(solid: Solid) -> Any:
    from manifold3d import Error, Manifold, Mesh64

    body = Manifold(Mesh64(np.ascontiguousarray(solid.vertices_mm), np.ascontiguousarray(solid.faces, dtype=np.uint64)))
    if body.status() != Error.NoError:
        raise BadInput.because("raft", "the raft's outline does not bound a body", value=str(body.status()))
    return body


def _solid_of(body: Any) -> Solid:
    mesh = body.to_mesh64()
    faces = np.asarray(mesh.tri_verts, dtype=np.int64)
    return Solid(vertices_mm=quantised(np.asarray(mesh.vert_properties)[:, :3]), faces=faces)
