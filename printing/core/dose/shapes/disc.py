"""The disc: a flat round form that stands on its face."""

from __future__ import annotations

import math
from collections.abc import Mapping

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.formulas import formula
from printing.core.dose.meshes import Mesh, disc_mesh
from printing.core.dose.model import Geometry, Terms
from printing.core.dose.shapes.base import Design, Dimensions


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
    for field, value in (("radius_mm", radius_mm), ("height_mm", height_mm)):
        if not (math.isfinite(value) and value > 0):
            raise BadInput.because(field, "is not a positive length", value=str(value), unit="mm", accepted="> 0")
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
    outline = "round"
    orientations: tuple[str, ...] = ("flat",)
    rules: tuple[str, ...] = ("uniform", "fixed_height")

    def at_scale(self, design: Design, scale_mm: float) -> Dimensions:
        """Return the disc of this diameter with the design's height per diameter."""
        aspect = design.aspect_frac
        if aspect is None or not (math.isfinite(aspect) and 0 < aspect <= 10):
            raise BadInput.because("aspect_frac", "rule uniform needs it", value=str(aspect), accepted="0 to 10")
        return {"diameter": scale_mm, "height": aspect * scale_mm}

    def drawn(self, design: Design, free_mm: float, height_mm: float) -> Dimensions:
        """Return the disc of this diameter and height."""
        return {"diameter": free_mm, "height": height_mm}

    def free_mm(self, dimensions: Mapping[str, float]) -> float:
        """Return the diameter."""
        return dimensions["diameter"]

    def height_mm(self, dimensions: Mapping[str, float]) -> float:
        """Return the height."""
        return dimensions["height"]

    def smooth(self, dimensions: Mapping[str, float], mount: str) -> Geometry:
        """Return the geometry of the circular cylinder."""
        radius, height = dimensions["diameter"] / 2.0, dimensions["height"]
        volume, surface = disc_volume_surface(radius, height)
        face = math.pi * radius**2
        return Geometry(
            slice_volume_mm3=volume,
            perimeter_layer_mm2=math.tau * radius * height,
            facing_mm2=face if mount == "necks" else 0.0,
            surface_mm2=surface,
            mesh_volume_mm3=volume,
            section_mm2=face,
        )

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
