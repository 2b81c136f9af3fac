"""Where the break-off necks of a unit stand, and their meshes.

What holds a unit up (common practice, no source): a flat underside stands on necks spread on an ellipse inside it. A
round underside (ring, lying or standing capsule shape, spheroid, biconvex, anything on its rim) stands on necks that
reach up to it where it is nearly level: on the lowest circle of a ring, along the lowest line of a long body. From
there its sides carry themselves, each layer resting on the one below; no columns are needed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import radians, tan

import numpy as np

from dosewright.ground.pure.errors import BadInput
from printing.core.layout.necks import OVERLAP_UM, SEGMENTS, NeckRules
from printing.core.layout.rafts import EMBED_MM, Faces, Solid, Vertices, quantised
from printing.core.layout.request import RaftRules

RING_FRACS = (0.6, 0.7, 0.8, 0.88, 0.5, 0.4, 0.3)
"""Where necks may stand, as a fraction of the way from the middle to the rim of the contact face."""

LEVEL_MM = 1e-4
FLAT_REACH_MM = 0.1
ROUND_REACH_MM = (0.3, 0.6, 1.2)
"""How far above its lowest point a unit's underside still counts as contact; a small round one needs more."""

NEARLY_LEVEL_DEG = 15.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """Places [mm] on one ring, the underside over the middle of each, and how much it rises within a tip at most."""

    spots: tuple[tuple[float, float], ...]
    tops_mm: tuple[float, ...]
    rise_mm: float


def neck_solid(unit: Solid, necks: NeckRules, rules: RaftRules) -> Solid:
    """Return the necks of one unit as one mesh in the unit's frame (its lowest point at z = 0).

    They run from inside the slab to `OVERLAP_UM` above the unit's underside where they stand. Raises
    BadInput when no ring carries all of them.
    """
    tip, base = necks.tip_um / 2000, necks.base_um / 2000
    stand = _stand(unit, necks)
    bottom = -(rules.finger_gap_um / 1000 + EMBED_MM)
    return _joined(
        [
            _cone(x, y, bottom, top + OVERLAP_UM / 1000, base, tip)
            for (x, y), top in zip(stand.spots, stand.tops_mm, strict=True)
        ]
    )


def _stand(unit: Solid, necks: NeckRules) -> Stand:
    """Return the first ring that is level enough under every tip, else the most level one."""
    underside = _underside_of(unit)
    level_mm = necks.tip_um / 1000 * tan(radians(NEARLY_LEVEL_DEG))
    for reach_mm in _reaches(underside):
        stands = []
        for stand in _stands(underside, necks, reach_mm):
            if stand.rise_mm <= level_mm:
                return stand
            stands.append(stand)
        if stands:
            return min(stands, key=lambda one: round(one.rise_mm, 6))
    raise BadInput.because(
        "necks",
        "the unit's underside does not carry its necks",
        value=str(necks.count),
        accepted="a contact face wide enough for three necks",
    )


def _stands(underside: Vertices, necks: NeckRules, reach_mm: float) -> Iterator[Stand]:
    for spots in _rings(underside, necks.count, reach_mm):
        if _apart(spots, necks.base_um / 1000):
            probed = [_probed(underside, x, y, necks.tip_um / 2000) for x, y in spots]
            if all(probed):
                tops = tuple(heights[0] for heights in probed)
                rise = max(max(heights) - min(heights) for heights in probed)
                yield Stand(spots=tuple(spots), tops_mm=tops, rise_mm=rise)


def _underside_of(unit: Solid) -> Vertices:
    """The triangles that look down, by their corners; what is lowest over a place is one of them."""
    corners = unit.vertices_mm[unit.faces]
    first, second = corners[:, 1, :2] - corners[:, 0, :2], corners[:, 2, :2] - corners[:, 0, :2]
    looks_down: Vertices = corners[first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0] < -1e-12]
    return looks_down


def _reaches(underside: Vertices) -> tuple[float, ...]:
    is_flat = len(underside) and bool((underside[:, :, 2].max(axis=1) <= LEVEL_MM).any())
    return (FLAT_REACH_MM,) if is_flat else ROUND_REACH_MM


def _rings(underside: Vertices, count: int, reach_mm: float) -> list[list[tuple[float, float]]]:
    """Return candidate places of `count` necks: even on ellipses inside the contact face's extent."""
    facing = underside[underside[:, :, 2].max(axis=1) <= reach_mm].reshape(-1, 3)
    if not len(facing):
        return []
    low, high = facing[:, :2].min(axis=0), facing[:, :2].max(axis=0)
    middle, half = (low + high) / 2, (high - low) / 2
    angles = np.pi / 2 + 2 * np.pi * np.arange(count) / count
    circle = np.column_stack([np.cos(angles), np.sin(angles)])
    return [[(float(x), float(y)) for x, y in quantised(middle + half * frac * circle)] for frac in RING_FRACS]


def _apart(spots: Sequence[tuple[float, float]], least: float) -> bool:
    return all((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 > least * least for k, a in enumerate(spots) for b in spots[:k])


def _probed(underside: Vertices, x: float, y: float, radius: float) -> tuple[float, ...]:
    """Return the underside's height over the middle and the rim of a tip; nothing when it looks past the edge."""
    angles = 2 * np.pi * np.arange(8) / 8
    ring = [(x + radius * float(np.cos(a)), y + radius * float(np.sin(a))) for a in angles]
    low, high = underside[:, :, :2].min(axis=1), underside[:, :, :2].max(axis=1)
    near = underside[((low <= (x + radius, y + radius)) & (high >= (x - radius, y - radius))).all(axis=1)]
    heights = [_lowest_hit(near, *point) for point in [(x, y), *ring]]
    found = tuple(height for height in heights if height is not None)
    return found if len(found) == len(heights) else ()


def _lowest_hit(underside: Vertices, x: float, y: float) -> float | None:
    """Return the least z at which a vertical line through (x, y) meets the underside."""
    a, b, c = underside[:, 0], underside[:, 1], underside[:, 2]
    area = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (c[:, 0] - a[:, 0]) * (b[:, 1] - a[:, 1])
    u = ((x - a[:, 0]) * (c[:, 1] - a[:, 1]) - (c[:, 0] - a[:, 0]) * (y - a[:, 1])) / area
    v = ((b[:, 0] - a[:, 0]) * (y - a[:, 1]) - (x - a[:, 0]) * (b[:, 1] - a[:, 1])) / area
    hit = (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9)
    if not hit.any():
        return None
    z = a[:, 2] + u * (b[:, 2] - a[:, 2]) + v * (c[:, 2] - a[:, 2])
    return float(z[hit].min())


def _cone(x: float, y: float, bottom: float, top: float, base: float, tip: float) -> Solid:
    angles = 2 * np.pi * np.arange(SEGMENTS) / SEGMENTS
    circle = np.column_stack([np.cos(angles), np.sin(angles)])
    rings = [np.column_stack([(x, y) + circle * r, np.full(SEGMENTS, z)]) for r, z in ((base, bottom), (tip, top))]
    points = np.vstack([*rings, [[x, y, bottom], [x, y, top]]])
    low, high = 2 * SEGMENTS, 2 * SEGMENTS + 1
    faces = []
    for k in range(SEGMENTS):
        after = (k + 1) % SEGMENTS
        faces += [(low, after, k), (high, SEGMENTS + k, SEGMENTS + after)]
        faces += [(k, after, SEGMENTS + after), (k, SEGMENTS + after, SEGMENTS + k)]
    return Solid(vertices_mm=points, faces=np.array(faces, dtype=np.int64))


def _joined(solids: Sequence[Solid]) -> Solid:
    starts = np.cumsum([0, *(len(solid.vertices_mm) for solid in solids[:-1])])
    faces: Faces = np.vstack([solid.faces + start for solid, start in zip(solids, starts, strict=True)])
    return Solid(vertices_mm=quantised(np.vstack([solid.vertices_mm for solid in solids])), faces=faces)
