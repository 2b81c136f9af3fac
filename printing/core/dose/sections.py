"""Areas and outlines of every layer of a closed mesh, and the area that looks at the build plate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from dosewright.ground.pure.errors import BadInput
from printing.core.dose.meshes import Mesh

Floats: TypeAlias = NDArray[np.float64]
Coefficients: TypeAlias = tuple[Floats, Floats, Floats]

NM_PER_UM = 1_000
MOUNTS = ("sheet", "necks")
"""sheet: the bottom face is bonded to the raft's sheet.  necks: break-off necks hold the unit free of its raft."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sections:
    """Area [mm2] and outline length [mm] at the mid-plane of every layer, from the plate upward."""

    layer_um: int
    area_mm2: NDArray[np.float64]
    perimeter_mm: NDArray[np.float64]

    @property
    def layers(self) -> int:
        """The number of layers."""
        return len(self.area_mm2)

    @property
    def volume_mm3(self) -> float:
        """What the layers add up to: sum of areas times the layer height [mm3]."""
        return float(self.area_mm2.sum()) * self.layer_um / 1_000

    @property
    def perimeter_layer_mm2(self) -> float:
        """Sum of outline lengths times the layer height [mm2]."""
        return float(self.perimeter_mm.sum()) * self.layer_um / 1_000


def sections(mesh: Mesh, layer_um: int) -> Sections:
    """Return the sections of a closed mesh at the mid-plane of every layer, in O(triangles + layers).

    The part of a closed surface above a plane has, seen from above, the signed area of the section; every
    triangle's share is piecewise quadratic in the plane's height and its cut piecewise linear, so that their
    coefficients are added where a piece begins, taken off where it ends, and summed up once.

    mesh: closed, standing on or above z = 0.  layer_um: [um] > 0.
    Returns sections; a plane exactly in a horizontal face counts as just above it.
    Raises BadInput for a layer that is no positive whole number or a mesh that reaches below the plate.
    Assumes outward faces.  Source: divergence theorem applied to the constant field (0, 0, 1); derived.
    """
    if isinstance(layer_um, bool) or not isinstance(layer_um, int | np.integer) or layer_um <= 0:
        raise BadInput.because("layer_um", "is no layer height", value=str(layer_um), accepted="whole um, 1 or more")
    z_nm = mesh.vertices_nm[:, 2]
    if z_nm.min() < 0:
        raise BadInput.because(
            "mesh", "reaches below the build plate", value=f"{z_nm.min() / 1e6} mm", accepted="z >= 0"
        )
    layer_nm = int(layer_um) * NM_PER_UM
    count = int(_first_plane_at_or_above(z_nm.max(), layer_nm))
    cut = _Cut(mesh, layer_nm, count)
    return Sections(layer_um=int(layer_um), area_mm2=cut.areas(), perimeter_mm=cut.perimeters())


def facing_mm2(mesh: Mesh, mount: str) -> float:
    """Return the area [mm2], projected on the plate, of the faces that look at the plate with resin above them.

    Over-cure grows on these faces only.  On mount "sheet" the faces that lie in z = 0 are bonded and left out;
    on "necks" all count (the scars of the necks are inside the error budget).
    Raises BadInput for another mount.  Source: science reference 4.1, derived.
    """
    if mount not in MOUNTS:
        raise BadInput.because("mount", "is no known mount", value=mount, accepted=" or ".join(MOUNTS))
    projected = _projected_mm2(mesh)
    looks_down = projected < 0
    if mount == "sheet":
        looks_down &= (mesh.vertices_nm[mesh.faces, 2] != 0).any(axis=1)
    return abs(float(projected[looks_down].sum()))


def shallow_mm2(mesh: Mesh) -> float:
    """Return the area [mm2], projected on the plate, of the undersides that lie less than 45 degrees from level.

    They cannot carry themselves; what holds them stands on the raft.  Source: common practice, no source for 45.
    """
    corners = mesh.vertices_mm[mesh.faces]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]) / 2.0
    level = -across[:, 2] > np.hypot(across[:, 0], across[:, 1])
    return abs(float(across[level, 2].sum()))


def _projected_mm2(mesh: Mesh) -> NDArray[np.float64]:
    xy = mesh.vertices_mm[mesh.faces, :2]
    first, second = xy[:, 1] - xy[:, 0], xy[:, 2] - xy[:, 0]
    crossed: NDArray[np.float64] = (first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]) / 2.0
    return crossed


def _first_plane_at_or_above(z_nm: NDArray[np.int64] | np.int64, layer_nm: int) -> NDArray[np.int64]:
    """Number of the first mid-plane (k + 1/2) layer that is not below z, in exact whole numbers."""
    return np.asarray(-((layer_nm - 2 * z_nm) // (2 * layer_nm)), dtype=np.int64)


class _Cut:
    """One pass over the triangles; heights are counted in layers, so that plane k is the number k."""

    def __init__(self, mesh: Mesh, layer_nm: int, count: int) -> None:
        order = np.argsort(mesh.vertices_nm[mesh.faces, 2], axis=1, kind="stable")
        corners = np.take_along_axis(mesh.faces, order, axis=1)
        z_nm = mesh.vertices_nm[corners, 2]
        self._points = mesh.vertices_mm[corners]
        self._t = z_nm / layer_nm - 0.5
        self._plane = np.clip(_first_plane_at_or_above(z_nm, layer_nm), 0, count)
        self._count = count
        self._signed = _projected_mm2(mesh)

    def areas(self) -> NDArray[np.float64]:
        low, mid, high = self._t.T
        below, above = self._pieces()
        sums = np.zeros((self._count + 1, 3))
        whole = np.zeros(self._count + 1)
        whole[0] = self._signed.sum()
        np.add.at(whole, self._plane[:, 0], -self._signed)
        _spread(sums, self._plane[:, 0], self._plane[:, 1], below, *self._lower_share(below, low, mid, high))
        _spread(sums, self._plane[:, 1], self._plane[:, 2], above, *self._upper_share(above, low, mid, high))
        return np.asarray(whole.cumsum()[:-1] + _evaluate(sums, self._count))

    def perimeters(self) -> NDArray[np.float64]:
        low, mid, high = self._t.T
        below, above = self._pieces()
        length = self._widest_cut()
        sums = np.zeros((self._count + 1, 3))
        rise = length[below] / (mid - low)[below]
        _spread(sums, self._plane[:, 0], self._plane[:, 1], below, -rise * low[below], rise, np.zeros_like(rise))
        fall = length[above] / (high - mid)[above]
        _spread(sums, self._plane[:, 1], self._plane[:, 2], above, fall * high[above], -fall, np.zeros_like(fall))
        return _evaluate(sums, self._count)

    def _pieces(self) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Triangles with a plane between their low and middle, and between their middle and high, corner."""
        return self._plane[:, 0] < self._plane[:, 1], self._plane[:, 1] < self._plane[:, 2]

    def _lower_share(self, which: NDArray[np.bool_], low: Floats, mid: Floats, high: Floats) -> Coefficients:
        """signed (1 - (t - low)^2 / ((mid - low)(high - low))) as coefficients of 1, t, t^2."""
        signed, start = self._signed[which], low[which]
        scale = signed / ((mid - low)[which] * (high - low)[which])
        return signed - scale * start**2, 2 * scale * start, -scale

    def _upper_share(self, which: NDArray[np.bool_], low: Floats, mid: Floats, high: Floats) -> Coefficients:
        """signed (high - t)^2 / ((high - mid)(high - low)) as coefficients of 1, t, t^2."""
        end = high[which]
        scale = self._signed[which] / ((high - mid)[which] * (high - low)[which])
        return scale * end**2, -2 * scale * end, scale

    def _widest_cut(self) -> NDArray[np.float64]:
        """Length of the horizontal cut through each triangle's middle corner."""
        low, mid, high = self._t.T
        tall = high > low
        share = np.divide(mid - low, high - low, out=np.zeros_like(mid), where=tall)
        a, b, c = self._points[:, 0], self._points[:, 1], self._points[:, 2]
        across = a + share[:, None] * (c - a) - b
        return np.asarray(np.hypot(across[:, 0], across[:, 1]))


def _spread(
    sums: Floats,
    start: NDArray[np.int64],
    stop: NDArray[np.int64],
    which: NDArray[np.bool_],
    *coefficients: Floats,
) -> None:
    for power, values in enumerate(coefficients):
        np.add.at(sums[:, power], start[which], values)
        np.add.at(sums[:, power], stop[which], -values)


def _evaluate(sums: NDArray[np.float64], count: int) -> NDArray[np.float64]:
    constant, linear, square = sums.cumsum(axis=0)[:-1].T
    plane = np.arange(count, dtype=np.float64)
    return np.asarray(constant + plane * (linear + plane * square))
