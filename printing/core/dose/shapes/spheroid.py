"""The spheroid: a ball pressed flat or drawn long; flat, standing or lying."""

from __future__ import annotations

import math
from collections.abc import Mapping

from dosewright.ground.pure.formulas import formula
from printing.core.dose.meshes import Mesh
from printing.core.dose.model import Geometry, Terms
from printing.core.dose.revolved import ball_profile, revolved_mesh
from printing.core.dose.shapes.base import (
    LARGEST_MM,
    SMALLEST_MM,
    Design,
    Dimensions,
    Footprint,
    geometry_of,
    kept,
    positive,
)

NEARLY_ROUND = 1e-5
"""Eccentricity below which the ball's surface is right to 1e-10."""


@formula(
    "shape_spheroid",
    inputs={
        "across_mm": "half axis across the axis of revolution [mm], more than 0",
        "along_mm": "half axis along it [mm], more than 0",
    },
    source="Elementary geometry of the ellipsoid of revolution: V = 4/3 pi a^2 c, SA flat 2 pi a^2 (1 + (1 - e^2)/e "
    "atanh e), long 2 pi a^2 (1 + c/(a e) asin e), e the eccentricity",
)
def spheroid_volume_surface(across_mm: float, along_mm: float) -> tuple[float, float]:
    """Return volume [mm3] and surface [mm2] of a spheroid.

    >>> [round(spheroid_volume_surface(*axes)[1], 6) for axes in ((3.0, 2.0), (2.0, 3.0))]
    [89.000737, 67.672873]
    """
    positive(across_mm=across_mm, along_mm=along_mm)
    a, c = across_mm, along_mm
    ring = math.tau * a**2
    e = math.sqrt(abs(1.0 - min(a, c) ** 2 / max(a, c) ** 2))
    if e < NEARLY_ROUND:
        surface = 2.0 * ring
    elif c < a:
        surface = ring * (1.0 + (1.0 - e**2) / e * math.atanh(e))
    else:
        surface = ring * (1.0 + c / (a * e) * math.asin(e))
    return 4.0 / 3.0 * math.pi * a**2 * c, surface


class FlatSpheroid:
    """Diameter and height, not higher than wide; printed along its axis on necks; the diameter is free."""

    name = "spheroid"
    orientation = "flat"
    outline = "round"
    footprint: Footprint = "round"
    rules: tuple[str, ...] = ("uniform", "fixed_height")
    mounts: tuple[str, ...] = ("necks",)
    lengths: tuple[str, ...] = ("diameter", "height")
    features: tuple[str, ...] = ()
    counted_apart = False
    aspects = (0.0, 1.0)

    def at_scale(self, design: Design, scale_mm: float) -> Dimensions:
        """Return the spheroid of this diameter with the design's height per diameter."""
        return {"diameter": scale_mm, "height": kept(design, "aspect_frac", *self.aspects) * scale_mm}

    def drawn(self, design: Design, free_mm: float, height_mm: float) -> Dimensions:
        """Return the spheroid of this diameter and height."""
        return {"diameter": free_mm, "height": height_mm}

    def free_limits_mm(self, design: Design, height_mm: float) -> tuple[float, float]:
        """Any diameter: a ball set to whole layers may be a little higher than wide."""
        return SMALLEST_MM, LARGEST_MM

    def height_limits_mm(self, design: Design, free_mm: float) -> tuple[float, float]:
        """Any height."""
        return SMALLEST_MM, LARGEST_MM

    def height_mm(self, dimensions: Mapping[str, float]) -> float:
        """Return the height."""
        return dimensions["height"]

    def smooth(self, dimensions: Mapping[str, float], mount: str) -> Geometry:
        """Return the geometry along its axis: every section is a circle.

        Source: 2 pi a sqrt(1 - z^2/c^2), integrated over the height: pi^2 a c; facing pi a^2.
        """
        across, along = dimensions["diameter"] / 2.0, dimensions["height"] / 2.0
        volume, surface = spheroid_volume_surface(across, along)
        return geometry_of(volume, surface, math.pi**2 * across * along, math.pi * across**2, 2.0 * along)

    def mesh(self, dimensions: Mapping[str, float]) -> Mesh:
        """Return the spheroid as a closed mesh of exact volume."""
        across, along = dimensions["diameter"] / 2.0, dimensions["height"] / 2.0
        return revolved_mesh(ball_profile(across, along), spheroid_volume_surface(across, along)[0])

    def finished(self, dimensions: Mapping[str, float], terms: Terms, geometry: Geometry) -> Dimensions:
        """Return the diameter grown by the bleed on both sides, the height by the over-cure."""
        return {
            "diameter": dimensions["diameter"] + 2.0 * terms.bleed_mm,
            "height": dimensions["height"] + terms.overcure_mm,
        }


class StandingSpheroid(FlatSpheroid):
    """The same, not wider than high."""

    orientation = "standing"
    outline = "oblong"
    aspects = (1.0 - 1e-12, 10.0)


class LyingSpheroid:
    """Length along the axis and diameter; printed on its side, held by necks; the length is free."""

    name = "spheroid"
    orientation = "lying"
    outline = "oblong"
    footprint: Footprint = "stadium"
    rules: tuple[str, ...] = ("uniform", "fixed_height")
    mounts: tuple[str, ...] = ("necks",)
    lengths: tuple[str, ...] = ("length", "width", "height")
    features: tuple[str, ...] = ()
    counted_apart = False

    def at_scale(self, design: Design, scale_mm: float) -> Dimensions:
        """Return the spheroid of this diameter with the design's length per diameter."""
        return {"length": kept(design, "aspect_frac", 1.0 - 1e-12, 10) * scale_mm, "diameter": scale_mm}

    def drawn(self, design: Design, free_mm: float, height_mm: float) -> Dimensions:
        """Return the spheroid of this length, whose diameter is the printed height."""
        return {"length": free_mm, "diameter": height_mm}

    def free_limits_mm(self, design: Design, height_mm: float) -> tuple[float, float]:
        """Any length."""
        return SMALLEST_MM, LARGEST_MM

    def height_limits_mm(self, design: Design, free_mm: float) -> tuple[float, float]:
        """Any height."""
        return SMALLEST_MM, LARGEST_MM

    def height_mm(self, dimensions: Mapping[str, float]) -> float:
        """Return the diameter."""
        return dimensions["diameter"]

    def smooth(self, dimensions: Mapping[str, float], mount: str) -> Geometry:
        """Return the geometry on its side: sections are similar ellipses.

        Source: outline P(c, a) sqrt(1 - z^2/a^2), P the ellipse's perimeter by the complete elliptic integral E,
        integrated over the height: P pi a / 2; facing pi a c.
        """
        from scipy.special import ellipe

        across, along = dimensions["diameter"] / 2.0, dimensions["length"] / 2.0
        volume, surface = spheroid_volume_surface(across, along)
        small, large = sorted((across, along))
        outline = 4.0 * large * float(ellipe(1.0 - (small / large) ** 2))
        return geometry_of(volume, surface, outline * math.pi * across / 2.0, math.pi * across * along, 2.0 * across)

    def mesh(self, dimensions: Mapping[str, float]) -> Mesh:
        """Return the spheroid along x as a closed mesh of exact volume."""
        across, along = dimensions["diameter"] / 2.0, dimensions["length"] / 2.0
        volume = spheroid_volume_surface(across, along)[0]
        return revolved_mesh(ball_profile(across, along), volume, on_its_side=True)

    def finished(self, dimensions: Mapping[str, float], terms: Terms, geometry: Geometry) -> Dimensions:
        """Return length and width grown by the bleed on both sides, the height by the over-cure."""
        return {
            "length": dimensions["length"] + 2.0 * terms.bleed_mm,
            "width": dimensions["diameter"] + 2.0 * terms.bleed_mm,
            "height": dimensions["diameter"] + terms.overcure_mm,
        }
