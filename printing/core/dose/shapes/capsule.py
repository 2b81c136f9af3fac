"""The capsule-shaped unit: a cylinder with a half ball at each end, lying or standing."""

from __future__ import annotations

import math
from collections.abc import Mapping

from dosewright.ground.pure.errors import BadInput
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


@formula(
    "shape_capsule",
    inputs={
        "radius_mm": "radius [mm], more than 0",
        "straight_mm": "length of the straight part between the half balls [mm], 0 or more",
    },
    source="Elementary geometry of cylinder and ball: V = pi r^2 L + 4/3 pi r^3, SA = 2 pi r L + 4 pi r^2",
)
def capsule_volume_surface(radius_mm: float, straight_mm: float) -> tuple[float, float]:
    """Return volume [mm3] and surface [mm2] of a capsule-shaped body.

    >>> [round(value, 6) for value in capsule_volume_surface(3.0, 8.0)]
    [339.292007, 263.893783]
    """
    positive(radius_mm=radius_mm)
    if not (math.isfinite(straight_mm) and straight_mm >= 0):
        raise BadInput.because("straight_mm", "is no length", value=str(straight_mm), unit="mm", accepted="0 or more")
    volume = math.pi * radius_mm**2 * straight_mm + 4.0 / 3.0 * math.pi * radius_mm**3
    return volume, math.tau * radius_mm * straight_mm + 4.0 * math.pi * radius_mm**2


def _radius_straight(dimensions: Mapping[str, float]) -> tuple[float, float]:
    # A length solved down to the diameter leaves nothing straight, but for the last digit of the subtraction.
    return dimensions["diameter"] / 2.0, max(0.0, dimensions["length"] - dimensions["diameter"])


class LyingCapsule:
    """Length and diameter; printed on its side, held by necks along its underside; the length is free."""

    name = "capsule-shaped"
    orientation = "lying"
    outline = "oblong"
    footprint: Footprint = "stadium"
    rules: tuple[str, ...] = ("uniform", "fixed_height")
    mounts: tuple[str, ...] = ("necks",)
    lengths: tuple[str, ...] = ("length", "width", "height")
    features: tuple[str, ...] = ()
    counted_apart = False

    def at_scale(self, design: Design, scale_mm: float) -> Dimensions:
        """Return the body of this diameter with the design's length per diameter."""
        return {"length": kept(design, "aspect_frac", 1, 10) * scale_mm, "diameter": scale_mm}

    def drawn(self, design: Design, free_mm: float, height_mm: float) -> Dimensions:
        """Return the body of this length, whose diameter is the printed height."""
        return {"length": free_mm, "diameter": height_mm}

    def free_limits_mm(self, design: Design, height_mm: float) -> tuple[float, float]:
        """From the length of a ball."""
        return height_mm, LARGEST_MM

    def height_limits_mm(self, design: Design, free_mm: float) -> tuple[float, float]:
        """Up to the diameter of a ball."""
        return SMALLEST_MM, free_mm

    def height_mm(self, dimensions: Mapping[str, float]) -> float:
        """Return the diameter."""
        return dimensions["diameter"]

    def smooth(self, dimensions: Mapping[str, float], mount: str) -> Geometry:
        """Return the geometry on its side: every section is a stadium.

        Source: outline 2 L + 2 pi sqrt(r^2 - z^2), integrated over the height: 4 r L + pi^2 r^2 (220.316620 mm2 for
        r 3, L 10.957515, science reference 1.4); facing 2 r L + pi r^2.
        """
        radius, straight = _radius_straight(dimensions)
        volume, surface = capsule_volume_surface(radius, straight)
        outlines = 4.0 * radius * straight + math.pi**2 * radius**2
        return geometry_of(volume, surface, outlines, 2.0 * radius * straight + math.pi * radius**2, 2.0 * radius)

    def mesh(self, dimensions: Mapping[str, float]) -> Mesh:
        """Return the body along x as a closed mesh of exact volume."""
        radius, straight = _radius_straight(dimensions)
        profile = ball_profile(radius, radius, straight)
        return revolved_mesh(profile, capsule_volume_surface(radius, straight)[0], on_its_side=True)

    def finished(self, dimensions: Mapping[str, float], terms: Terms, geometry: Geometry) -> Dimensions:
        """Return length and width grown by the bleed on both sides, the height by the over-cure."""
        return {
            "length": dimensions["length"] + 2.0 * terms.bleed_mm,
            "width": dimensions["diameter"] + 2.0 * terms.bleed_mm,
            "height": dimensions["diameter"] + terms.overcure_mm,
        }


class StandingCapsule:
    """Length and diameter; printed on its end, held by necks; the diameter is free, the length whole layers."""

    name = "capsule-shaped"
    orientation = "standing"
    outline = "oblong"
    footprint: Footprint = "round"
    rules: tuple[str, ...] = ("uniform", "fixed_height", "fixed_section")
    mounts: tuple[str, ...] = ("necks",)
    lengths: tuple[str, ...] = ("length", "diameter")
    features: tuple[str, ...] = ()
    counted_apart = False

    def at_scale(self, design: Design, scale_mm: float) -> Dimensions:
        """Return the body of this diameter with the design's length per diameter."""
        return {"length": kept(design, "aspect_frac", 1, 10) * scale_mm, "diameter": scale_mm}

    def drawn(self, design: Design, free_mm: float, height_mm: float) -> Dimensions:
        """Return the body of this diameter, whose length is the printed height."""
        return {"length": height_mm, "diameter": free_mm}

    def free_limits_mm(self, design: Design, height_mm: float) -> tuple[float, float]:
        """Up to the diameter of a ball."""
        return SMALLEST_MM, height_mm

    def height_limits_mm(self, design: Design, free_mm: float) -> tuple[float, float]:
        """From the length of a ball."""
        return free_mm, LARGEST_MM

    def height_mm(self, dimensions: Mapping[str, float]) -> float:
        """Return the length."""
        return dimensions["length"]

    def smooth(self, dimensions: Mapping[str, float], mount: str) -> Geometry:
        """Return the geometry on its end: every section is a circle.

        Source: 2 pi rho, integrated over the height: 2 pi r L + pi^2 r^2; facing pi r^2.
        """
        radius, straight = _radius_straight(dimensions)
        volume, surface = capsule_volume_surface(radius, straight)
        outlines = math.tau * radius * straight + math.pi**2 * radius**2
        return geometry_of(volume, surface, outlines, math.pi * radius**2, dimensions["length"])

    def mesh(self, dimensions: Mapping[str, float]) -> Mesh:
        """Return the body on its end as a closed mesh of exact volume."""
        radius, straight = _radius_straight(dimensions)
        return revolved_mesh(ball_profile(radius, radius, straight), capsule_volume_surface(radius, straight)[0])

    def finished(self, dimensions: Mapping[str, float], terms: Terms, geometry: Geometry) -> Dimensions:
        """Return the diameter grown by the bleed on both sides, the length by the over-cure."""
        return {
            "length": dimensions["length"] + terms.overcure_mm,
            "diameter": dimensions["diameter"] + 2.0 * terms.bleed_mm,
        }
