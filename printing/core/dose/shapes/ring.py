"""The ring: a round tube closed in a circle, lying flat; its surface per volume does not follow the dose."""

from __future__ import annotations

import math
from collections.abc import Mapping

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.formulas import formula
from printing.core.dose.meshes import Mesh
from printing.core.dose.model import Geometry, Terms
from printing.core.dose.revolved import torus_mesh
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
    "shape_ring",
    inputs={
        "centre_mm": "radius of the circle that the tube follows [mm], not less than tube_mm",
        "tube_mm": "radius of the tube [mm], more than 0",
    },
    source="Pappus-Guldin theorems for the torus: V = 2 pi^2 R r^2, SA = 4 pi^2 R r, so that SA/V = 2/r for every R",
)
def ring_volume_surface(centre_mm: float, tube_mm: float) -> tuple[float, float]:
    """Return volume [mm3] and surface [mm2] of a ring.

    >>> [round(value, 6) for value in ring_volume_surface(4.0, 2.0)]
    [315.827341, 315.827341]
    """
    positive(centre_mm=centre_mm, tube_mm=tube_mm)
    if centre_mm < tube_mm:
        value, accepted = str(centre_mm), f"{tube_mm:g} mm or more"
        raise BadInput.because("centre_mm", "a ring has a hole", value=value, unit="mm", accepted=accepted)
    return 2.0 * math.pi**2 * centre_mm * tube_mm**2, 4.0 * math.pi**2 * centre_mm * tube_mm


class Ring:
    """Outside diameter and tube; printed flat on necks under the tube; the outside diameter is free.

    The printed height is the tube's diameter, so that the tube is whole layers.
    """

    name = "ring"
    orientation = "flat"
    outline = "round"
    footprint: Footprint = "round"
    rules: tuple[str, ...] = ("uniform", "fixed_tube")
    mounts: tuple[str, ...] = ("necks",)
    lengths: tuple[str, ...] = ("diameter", "tube", "hole", "height")
    features: tuple[str, ...] = ("hole",)
    counted_apart = False

    def at_scale(self, design: Design, scale_mm: float) -> Dimensions:
        """Return the ring of this outside diameter with the design's tube per diameter."""
        return self.drawn(design, scale_mm, kept(design, "aspect_frac", 0, 0.5) * scale_mm)

    def drawn(self, design: Design, free_mm: float, height_mm: float) -> Dimensions:
        """Return the ring of this outside diameter, whose tube is the printed height."""
        return {"diameter": free_mm, "tube": height_mm, "hole": free_mm - 2.0 * height_mm}

    def free_limits_mm(self, design: Design, height_mm: float) -> tuple[float, float]:
        """From where the hole opens."""
        return 2.0 * height_mm, LARGEST_MM

    def height_limits_mm(self, design: Design, free_mm: float) -> tuple[float, float]:
        """Up to where the hole closes."""
        return SMALLEST_MM, free_mm / 2.0

    def height_mm(self, dimensions: Mapping[str, float]) -> float:
        """Return the tube's diameter."""
        return dimensions["tube"]

    def smooth(self, dimensions: Mapping[str, float], mount: str) -> Geometry:
        """Return the geometry of the torus; a section is a flat ring, both of its outlines bleed.

        Source: outlines 2 pi (R + w) and 2 pi (R - w) add to 4 pi R at every height: 8 pi R r; facing 4 pi R r.
        """
        tube = dimensions["tube"] / 2.0
        centre = dimensions["diameter"] / 2.0 - tube
        volume, surface = ring_volume_surface(centre, tube)
        return geometry_of(volume, surface, 8.0 * math.pi * centre * tube, 4.0 * math.pi * centre * tube, 2.0 * tube)

    def mesh(self, dimensions: Mapping[str, float]) -> Mesh:
        """Return the ring as a closed mesh of exact volume."""
        tube = dimensions["tube"] / 2.0
        centre = dimensions["diameter"] / 2.0 - tube
        return torus_mesh(centre, tube, ring_volume_surface(centre, tube)[0])

    def finished(self, dimensions: Mapping[str, float], terms: Terms, geometry: Geometry) -> Dimensions:
        """Return the lengths grown by the bleed, which narrows the hole, and the height by the over-cure."""
        return {
            "diameter": dimensions["diameter"] + 2.0 * terms.bleed_mm,
            "tube": dimensions["tube"] + 2.0 * terms.bleed_mm,
            "hole": dimensions["hole"] - 2.0 * terms.bleed_mm,
            "height": dimensions["tube"] + terms.overcure_mm,
        }
