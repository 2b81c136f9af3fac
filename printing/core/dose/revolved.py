"""Closed meshes of bodies of revolution that enclose exactly the volume of the smooth body they stand for.

A faceted round body cuts corners: at 64 sides it would lose 0.16 % (S-13). Here the height stays what was drawn,
in whole layers, and the outline grows by the few micrometres that the corners took.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from dosewright.ground.pure.errors import BadInput
from printing.core.dose.meshes import NM_PER_MM, Mesh, volume_mm3

SIDES = 128
"""Sides around the axis; a multiple of 4, so that a body on its side reaches its full height."""
ARC_STEPS = 64
"""Steps along a half circle of the profile."""

WORTH_WIDENING = 2e-8

Point = tuple[float, float]
"""Distance from the axis and place along it [mm]."""


def ball_profile(across_mm: float, along_mm: float, straight_mm: float = 0.0) -> list[Point]:
    """Return the profile of two half ellipses, `straight_mm` apart, from the lower pole at 0 to the upper one.

    across_mm: half axis across [mm].  along_mm: half axis along [mm].
    """
    half = ARC_STEPS // 2
    lower = [(across_mm * s, along_mm * (1.0 - c)) for s, c in (_turn(k) for k in range(half + 1))]
    upper = [(rho, 2.0 * along_mm + straight_mm - z) for rho, z in reversed(lower)]
    lower[0], upper[-1] = (0.0, 0.0), (0.0, upper[-1][1])
    return lower + (upper if straight_mm > 0 else upper[1:])


def lens_profile(radius_mm: float, band_mm: float, cap_mm: float, cap_radius_mm: float) -> list[Point]:
    """Return the profile of two spherical caps on a band, from the lower pole at 0 to the upper one.

    band_mm: [mm], 0 or more.  cap_mm: depth of one cap [mm], 0 for a plain disc.  cap_radius_mm: of the sphere.
    """
    total = band_mm + 2.0 * cap_mm
    if cap_mm <= 0:
        return [(0.0, 0.0), (radius_mm, 0.0), (radius_mm, total), (0.0, total)]
    steps = ARC_STEPS // 2
    widest = math.asin(min(1.0, radius_mm / cap_radius_mm))
    turns = [widest * k / steps for k in range(steps)]
    lower = [(cap_radius_mm * math.sin(turn), cap_radius_mm * (1.0 - math.cos(turn))) for turn in turns]
    lower.append((radius_mm, cap_mm))
    upper = [(rho, total - z) for rho, z in reversed(lower)]
    return lower + (upper if band_mm > 0 else upper[1:])


def revolved_mesh(profile: Sequence[Point], volume_mm3: float, *, on_its_side: bool = False) -> Mesh:
    """Return the body that a profile from pole to pole sweeps around its axis, of exactly this volume.

    The axis stands on the plate; `on_its_side` lays it along x. Raises BadInput for a volume that is not positive.
    """
    rho, along = np.array(profile[1:-1]).T
    turned = _circle()
    around = np.stack([rho[:, None] * turned[:, 0], rho[:, None] * turned[:, 1]], axis=-1).reshape(-1, 2)
    rings = np.column_stack([around, np.repeat(along, SIDES)])
    poles = np.array([[0.0, 0.0, profile[0][1]], [0.0, 0.0, profile[-1][1]]])
    vertices = np.vstack([poles, rings])
    if on_its_side:
        vertices = np.column_stack([vertices[:, 2], vertices[:, 1], rho.max() - vertices[:, 0]])
    return kept_volume(vertices, _pole_faces(len(rho)), volume_mm3)


def torus_mesh(centre_mm: float, tube_mm: float, volume_mm3: float) -> Mesh:
    """Return a ring lying flat: a tube of radius `tube_mm` around a circle of radius `centre_mm`.

    The tube itself is widened by what its corners take, so that the circle that it follows stays where it is.
    """
    turns = [math.tau * k / ARC_STEPS for k in range(ARC_STEPS)]
    wider = tube_mm * math.tau / ARC_STEPS / math.sin(math.tau / ARC_STEPS)
    rho = np.array([centre_mm + wider * math.sin(turn) for turn in turns])
    along = np.array([tube_mm - tube_mm * math.cos(turn) for turn in turns])
    turned = _circle()
    around = np.stack([rho[:, None] * turned[:, 0], rho[:, None] * turned[:, 1]], axis=-1).reshape(-1, 2)
    vertices = np.column_stack([around, np.repeat(along, SIDES)])
    return kept_volume(vertices, _band_faces(0, ARC_STEPS, closed=True), volume_mm3)


def kept_volume(vertices_mm: NDArray[np.float64], faces: NDArray[np.int64], wanted_mm3: float) -> Mesh:
    """Return the mesh widened in x and y, never in height, until it encloses the volume [mm3].

    What rounding to 1e-6 mm leaves is taken up by single vertices moved by one quantum.
    """
    if not (math.isfinite(wanted_mm3) and wanted_mm3 > 0):
        raise BadInput.because("volume_mm3", "is no volume", value=str(wanted_mm3), unit="mm3", accepted="more than 0")
    wider = math.sqrt(wanted_mm3 / volume_mm3(Mesh(vertices_mm=vertices_mm, faces=faces)))
    middle = (vertices_mm.max(axis=0) + vertices_mm.min(axis=0)) / 2.0
    scale = np.array([wider, wider, 1.0])
    centred = (vertices_mm - middle) * scale + np.array([0.0, 0.0, middle[2]])
    mesh = Mesh(vertices_mm=centred, faces=faces)
    left = wanted_mm3 / volume_mm3(mesh)
    if abs(left - 1.0) > WORTH_WIDENING:
        # All ends of a flat side round the same way; the other direction takes up what that costs.
        mesh = Mesh(vertices_mm=mesh.vertices_mm * np.array([1.0, left, 1.0]), faces=faces)
    return _topped_up(mesh, wanted_mm3)


def _topped_up(mesh: Mesh, wanted_mm3: float) -> Mesh:
    missing = wanted_mm3 - volume_mm3(mesh)
    slope = _volume_slope(mesh)
    axis = np.where(np.abs(slope[:, 0]) >= np.abs(slope[:, 1]), 0, 1)
    here = np.arange(len(axis))
    gains = np.round(np.abs(slope[here, axis]), 9) / NM_PER_MM
    gains[_outermost(mesh)[here, axis]] = 0.0
    moved = _moved(gains, abs(missing))
    outward = np.where((slope[moved, axis[moved]] > 0) == (missing > 0), 1, -1)
    points = mesh.vertices_nm.copy()
    points[moved, axis[moved]] += outward
    return Mesh(vertices_mm=points / NM_PER_MM, faces=mesh.faces)


def _moved(gains: NDArray[np.float64], missing: float) -> NDArray[np.int64]:
    """Which vertices to move by one quantum, the greatest gains first, to come as near as single ones allow."""
    order = np.argsort(-gains, kind="stable")
    falling = gains[order]
    count = int(np.searchsorted(falling.cumsum(), missing, side="right"))
    chosen = list(order[:count])
    missing -= float(falling[:count].sum())
    at = count
    while at < len(falling):
        at = max(at, int(np.searchsorted(-falling, -missing, side="left")))
        if at >= len(falling) or falling[at] <= 0.0:
            break
        chosen.append(order[at])
        missing -= float(falling[at])
        at += 1
    return np.array(chosen, dtype=np.int64)


def _volume_slope(mesh: Mesh) -> NDArray[np.float64]:
    """How the enclosed volume grows with x and with y of each vertex [mm2]."""
    corners = mesh.vertices_mm[mesh.faces]
    slope = np.zeros((len(mesh.vertices_mm), 2))
    for corner in range(3):
        b, c = corners[:, (corner + 1) % 3], corners[:, (corner + 2) % 3]
        at = mesh.faces[:, corner]
        for axis, (one, other) in enumerate(((1, 2), (2, 0))):
            share = (b[:, one] * c[:, other] - b[:, other] * c[:, one]) / 6.0
            slope[:, axis] += np.bincount(at, weights=share, minlength=len(slope))
    return slope


def _outermost(mesh: Mesh) -> NDArray[np.bool_]:
    """Which x and y set the footprint; they stay, so that it is as symmetric as the body."""
    places = mesh.vertices_nm[:, :2]
    return np.asarray((places == places.max(axis=0)) | (places == places.min(axis=0)))


@lru_cache(maxsize=1)
def _circle() -> NDArray[np.float64]:
    """Cosines and sines by eighths, so that the four quarters are equal to the last digit."""
    quarter = [(math.cos(math.tau * k / SIDES), math.sin(math.tau * k / SIDES)) for k in range(SIDES // 8 + 1)]
    eighth = quarter + [(s, c) for c, s in reversed(quarter[:-1])]
    points = eighth[:-1]
    for _ in range(3):
        points = points + [(-s, c) for c, s in points[-(SIDES // 4) :]]
    circle = np.array(points)
    circle.setflags(write=False)
    return circle


def _turn(step: int) -> Point:
    """Sine and cosine of a step along a quarter circle."""
    if step == ARC_STEPS // 2:
        return 1.0, 0.0
    angle = math.pi * step / ARC_STEPS
    return math.sin(angle), math.cos(angle)


@lru_cache(maxsize=8)
def _pole_faces(rings: int) -> NDArray[np.int64]:
    """Vertex 0 is the lower pole, 1 the upper one, then the rings from below."""
    here = np.arange(SIDES)
    there = (here + 1) % SIDES
    first, last = 2, 2 + (rings - 1) * SIDES
    floor, roof = np.zeros(SIDES, dtype=np.int64), np.ones(SIDES, dtype=np.int64)
    lower = np.column_stack([floor, first + there, first + here])
    upper = np.column_stack([roof, last + here, last + there])
    return np.vstack([lower, _band_faces(2, rings, closed=False), upper])


@lru_cache(maxsize=8)
def _band_faces(start: int, rings: int, *, closed: bool) -> NDArray[np.int64]:
    here = np.arange(SIDES)
    there = (here + 1) % SIDES
    faces = []
    for ring in range(rings if closed else rings - 1):
        low, high = start + ring * SIDES, start + (ring + 1) % rings * SIDES
        faces += [
            np.column_stack([low + here, low + there, high + there]),
            np.column_stack([low + here, high + there, high + here]),
        ]
    return np.vstack(faces).astype(np.int64)
