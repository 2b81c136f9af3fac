"""The disc: a flat round form, on its face or on its rim; and mini-units, small discs that are counted."""

from __future__ import annotations

import math
from collections.abc import Mapping

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.formulas import formula
from printing.core.dose.meshes import Mesh, disc_mesh
from printing.core.dose.model import Geometry, Terms
from printing.core.dose.revolved import lens_profile, revolved_mesh
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
    "shape_disc",
    inputs={"radius_mm": "radius [mm], more than 0", "height_mm": "height [mm], more than 0"},
    source="Elementary geometry of the circular cylinder: V = pi r^2 h, SA = 2 pi r (r + h)",
)
def disc_volume_surface(radius_mm: float, height_mm: float) -> tuple[float, float]:
    """Return volume [mm3] and surface [mm2] of a disc.

    >>> [round(value, 6) for value in disc_volume_surface(4.0, 5.0)]
    [251.327412, 226.194671]
    """
    positive(radius_mm=radius_mm, height_mm=height_mm)
    return math.pi * radius_mm**2 * height_mm, math.tau * radius_mm * (radius_mm + height_mm)


def disc_radius_mm(content_mg: float, height_mm: float, terms: Terms, *, mount: str) -> float:
    """Return the radius [mm] at which a smooth disc of this height holds the content.

    Solves pi (h + f o - 2 d) r^2 + 2 pi h (b - d) r = content / (w rho (1 - bound)), with bleed b, over-cure o
    (f = 1 on necks, 0 on a sheet) and depleted depth d.
    content_mg: [mg] > 0.  height_mm: [mm] > 0.
    Raises BadInput when no radius does (the depleted skins of both faces meet).
    Source: science reference 1.3, cylinder closed form, with the bleed and over-cure terms of 1.4 and 4.1 added.
    """
    faces = 1.0 if mount == "necks" else 0.0
    square = math.pi * (height_mm + faces * terms.overcure_mm - 2.0 * terms.leached_mm)
    linear = math.tau * height_mm * (terms.bleed_mm - terms.leached_mm)
    wanted = content_mg / (terms.unit_strength_frac * terms.density_mg_mm3 * (1.0 - terms.bound_frac))
    if square <= 0 or not (math.isfinite(wanted) and wanted > 0):
        raise BadInput.because("content_mg", "no radius of this height holds it", value=f"{content_mg:g}", unit="mg")
    return (-linear + math.sqrt(linear**2 + 4.0 * square * wanted)) / (2.0 * square)


class Disc:
    """Diameter and height; printed flat; the diameter is the free dimension."""

    name = "disc"
    orientation = "flat"
    outline = "round"
    footprint: Footprint = "round"
    rules: tuple[str, ...] = ("uniform", "fixed_height", "fixed_section")
    mounts: tuple[str, ...] = ("necks", "sheet")
    lengths: tuple[str, ...] = ("diameter", "height")
    features: tuple[str, ...] = ()
    counted_apart = False

    def at_scale(self, design: Design, scale_mm: float) -> Dimensions:
        """Return the disc of this diameter with the design's height per diameter."""
        return {"diameter": scale_mm, "height": kept(design, "aspect_frac", 0, 10) * scale_mm}

    def drawn(self, design: Design, free_mm: float, height_mm: float) -> Dimensions:
        """Return the disc of this diameter and height."""
        return {"diameter": free_mm, "height": height_mm}

    def free_limits_mm(self, design: Design, height_mm: float) -> tuple[float, float]:
        """Any diameter."""
        return SMALLEST_MM, LARGEST_MM

    def height_limits_mm(self, design: Design, free_mm: float) -> tuple[float, float]:
        """Any height."""
        return SMALLEST_MM, LARGEST_MM

    def height_mm(self, dimensions: Mapping[str, float]) -> float:
        """Return the height."""
        return dimensions["height"]

    def smooth(self, dimensions: Mapping[str, float], mount: str) -> Geometry:
        """Return the geometry of the circular cylinder."""
        radius, height = dimensions["diameter"] / 2.0, dimensions["height"]
        volume, surface = disc_volume_surface(radius, height)
        facing = math.pi * radius**2 if mount == "necks" else 0.0
        return geometry_of(volume, surface, math.tau * radius * height, facing, height)

    def mesh(self, dimensions: Mapping[str, float]) -> Mesh:
        """Return the disc as a closed mesh of exact area."""
        return disc_mesh(dimensions["diameter"] / 2.0, dimensions["height"])

    def finished(self, dimensions: Mapping[str, float], terms: Terms, geometry: Geometry) -> Dimensions:
        """Return the diameter grown by the bleed on both sides and the height grown where a face looks at the plate."""
        grown = terms.overcure_mm if geometry.facing_mm2 > 0 else 0.0
        return {
            "diameter": dimensions["diameter"] + 2.0 * terms.bleed_mm,
            "height": dimensions["height"] + grown,
        }


class MiniUnits(Disc):
    """Small discs, as many as the dose takes."""

    name = "mini-units"
    counted_apart = True


class UprightDisc:
    """Diameter and thickness; printed on its rim, held by necks; the thickness is the free dimension."""

    name = "disc"
    orientation = "upright"
    outline = "round"
    footprint: Footprint = "rectangle"
    rules: tuple[str, ...] = ("uniform", "fixed_height")
    mounts: tuple[str, ...] = ("necks",)
    lengths: tuple[str, ...] = ("width", "height", "thickness")
    features: tuple[str, ...] = ()
    counted_apart = False

    def at_scale(self, design: Design, scale_mm: float) -> Dimensions:
        """Return the disc of this diameter with the design's thickness per diameter."""
        return {"diameter": scale_mm, "thickness": kept(design, "aspect_frac", 0, 10) * scale_mm}

    def drawn(self, design: Design, free_mm: float, height_mm: float) -> Dimensions:
        """Return the disc of this thickness, whose diameter is the printed height."""
        return {"diameter": height_mm, "thickness": free_mm}

    def free_limits_mm(self, design: Design, height_mm: float) -> tuple[float, float]:
        """Any thickness."""
        return SMALLEST_MM, LARGEST_MM

    def height_limits_mm(self, design: Design, free_mm: float) -> tuple[float, float]:
        """Any diameter."""
        return SMALLEST_MM, LARGEST_MM

    def height_mm(self, dimensions: Mapping[str, float]) -> float:
        """Return the diameter."""
        return dimensions["diameter"]

    def smooth(self, dimensions: Mapping[str, float], mount: str) -> Geometry:
        """Return the geometry of the circular cylinder on its side: sections are rectangles.

        Source: a rectangle h by 2 sqrt(r^2 - z^2), integrated over the height: 4 r h + 2 pi r^2.
        """
        radius, thickness = dimensions["diameter"] / 2.0, dimensions["thickness"]
        volume, surface = disc_volume_surface(radius, thickness)
        outlines = 4.0 * radius * thickness + math.tau * radius**2
        return geometry_of(volume, surface, outlines, 2.0 * radius * thickness, 2.0 * radius)

    def mesh(self, dimensions: Mapping[str, float]) -> Mesh:
        """Return the disc on its rim as a closed mesh of exact volume."""
        radius, thickness = dimensions["diameter"] / 2.0, dimensions["thickness"]
        profile = lens_profile(radius, thickness, 0.0, 0.0)
        return revolved_mesh(profile, disc_volume_surface(radius, thickness)[0], on_its_side=True)

    def finished(self, dimensions: Mapping[str, float], terms: Terms, geometry: Geometry) -> Dimensions:
        """Return width and thickness grown by the bleed on both sides, the height by the over-cure."""
        return {
            "width": dimensions["diameter"] + 2.0 * terms.bleed_mm,
            "height": dimensions["diameter"] + terms.overcure_mm,
            "thickness": dimensions["thickness"] + 2.0 * terms.bleed_mm,
        }
