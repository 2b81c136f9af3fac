"""The biconvex unit: a round band between two equal spherical caps, flat or on its rim."""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.formulas import formula
from printing.core.dose.meshes import Mesh
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

NODES = 64
"""Gauss-Legendre nodes for the outlines of a unit on its rim; 32 agree to 1e-9."""


@formula(
    "shape_biconvex",
    inputs={
        "radius_mm": "radius of the band [mm], more than 0",
        "band_mm": "height of the band [mm], 0 or more",
        "cap_mm": "depth of one cap [mm], more than 0",
    },
    source="Elementary geometry of cylinder and spherical cap: V = pi a^2 b + pi c (3 a^2 + c^2)/3, "
    "SA = 2 pi a b + 2 pi (a^2 + c^2)",
)
def biconvex_volume_surface(radius_mm: float, band_mm: float, cap_mm: float) -> tuple[float, float]:
    """Return volume [mm3] and surface [mm2] of a biconvex body.

    >>> [round(value, 6) for value in biconvex_volume_surface(5.0, 3.0, 1.2)]
    [331.676786, 260.375199]
    """
    positive(radius_mm=radius_mm, cap_mm=cap_mm)
    if not (math.isfinite(band_mm) and band_mm >= 0):
        raise BadInput.because("band_mm", "is no length", value=str(band_mm), unit="mm", accepted="0 or more")
    squares = radius_mm**2, cap_mm**2
    volume = math.pi * squares[0] * band_mm + math.pi * cap_mm * (3.0 * squares[0] + squares[1]) / 3.0
    return volume, math.tau * radius_mm * band_mm + math.tau * (squares[0] + squares[1])


def cap_depth_mm(diameter_mm: float, cap_radius_mm: float) -> float:
    """Return the depth [mm] of a spherical cap over a circle; raises BadInput for a sphere smaller than the circle."""
    half = diameter_mm / 2.0
    if not cap_radius_mm >= half > 0:
        value, accepted = str(cap_radius_mm), f"{half:g} mm or more"
        raise BadInput.because("cap_radius_mm", "is no cap's", value=value, unit="mm", accepted=accepted)
    return cap_radius_mm - math.sqrt(cap_radius_mm**2 - half**2)


def _cap_radius_mm(design: Design, diameter_mm: float) -> float:
    return kept(design, "cap_radius_frac", 0.5, 50) * diameter_mm


def _drawn(diameter_mm: float, name: str, thickness_mm: float, cap_radius_mm: float) -> Dimensions:
    # Where the caps meet, nothing is left of the band but the last digit of a subtraction.
    band = max(0.0, thickness_mm - 2.0 * cap_depth_mm(diameter_mm, cap_radius_mm))
    return {"diameter": diameter_mm, name: thickness_mm, "band": band, "cap_radius": cap_radius_mm}


def _parts(dimensions: Mapping[str, float]) -> tuple[float, float, float, float]:
    """Radius, band, depth and radius of a cap [mm]."""
    cap_radius = dimensions["cap_radius"]
    return (
        dimensions["diameter"] / 2.0,
        dimensions["band"],
        cap_depth_mm(dimensions["diameter"], cap_radius),
        cap_radius,
    )


class FlatBiconvex:
    """Diameter, height and band; printed on necks under its lower cap; the diameter is free."""

    name = "biconvex"
    orientation = "flat"
    outline = "round"
    footprint: Footprint = "round"
    rules: tuple[str, ...] = ("uniform", "fixed_height", "fixed_section")
    mounts: tuple[str, ...] = ("necks",)
    lengths: tuple[str, ...] = ("diameter", "height", "band")
    features: tuple[str, ...] = ("band",)
    counted_apart = False

    def at_scale(self, design: Design, scale_mm: float) -> Dimensions:
        """Return the unit of this diameter with the design's height and cap radius per diameter."""
        height = _thickness_at(design, scale_mm)
        return _drawn(scale_mm, "height", height, _cap_radius_mm(design, scale_mm))

    def drawn(self, design: Design, free_mm: float, height_mm: float) -> Dimensions:
        """Return the unit of this diameter and height; the band takes what the caps leave."""
        return _drawn(free_mm, "height", height_mm, _cap_radius_mm(design, free_mm))

    def free_limits_mm(self, design: Design, height_mm: float) -> tuple[float, float]:
        """Up to where the caps take the whole height."""
        return SMALLEST_MM, min(LARGEST_MM, height_mm / (2.0 * cap_depth_mm(1.0, _cap_radius_mm(design, 1.0))))

    def height_limits_mm(self, design: Design, free_mm: float) -> tuple[float, float]:
        """From the height of the two caps."""
        return 2.0 * cap_depth_mm(free_mm, _cap_radius_mm(design, free_mm)), LARGEST_MM

    def height_mm(self, dimensions: Mapping[str, float]) -> float:
        """Return the height."""
        return dimensions["height"]

    def smooth(self, dimensions: Mapping[str, float], mount: str) -> Geometry:
        """Return the geometry along its axis: every section is a circle.

        Source: 2 pi rho integrated over the band, 2 pi a b, and over each cap, pi (R^2 acos(t/R) - t a) with
        t = R - c; facing pi a^2.
        """
        radius, band, cap, cap_radius = _parts(dimensions)
        volume, surface = biconvex_volume_surface(radius, band, cap)
        inner = cap_radius - cap
        caps = math.tau * (cap_radius**2 * math.acos(inner / cap_radius) - inner * radius)
        outlines = math.tau * radius * band + caps
        return geometry_of(volume, surface, outlines, math.pi * radius**2, dimensions["height"])

    def mesh(self, dimensions: Mapping[str, float]) -> Mesh:
        """Return the unit as a closed mesh of exact volume."""
        radius, band, cap, cap_radius = _parts(dimensions)
        profile = lens_profile(radius, band, cap, cap_radius)
        return revolved_mesh(profile, biconvex_volume_surface(radius, band, cap)[0])

    def finished(self, dimensions: Mapping[str, float], terms: Terms, geometry: Geometry) -> Dimensions:
        """Return the diameter grown by the bleed on both sides, the height by the over-cure; the band stays."""
        return {
            "diameter": dimensions["diameter"] + 2.0 * terms.bleed_mm,
            "height": dimensions["height"] + terms.overcure_mm,
            "band": dimensions["band"],
        }


class UprightBiconvex:
    """Diameter, thickness and band; printed on its rim, held by necks; the thickness is free."""

    name = "biconvex"
    orientation = "upright"
    outline = "round"
    footprint: Footprint = "rectangle"
    rules: tuple[str, ...] = ("uniform", "fixed_height")
    mounts: tuple[str, ...] = ("necks",)
    lengths: tuple[str, ...] = ("width", "height", "thickness", "band")
    features: tuple[str, ...] = ("band",)
    counted_apart = False

    def at_scale(self, design: Design, scale_mm: float) -> Dimensions:
        """Return the unit of this diameter with the design's thickness and cap radius per diameter."""
        thickness = _thickness_at(design, scale_mm)
        return _drawn(scale_mm, "thickness", thickness, _cap_radius_mm(design, scale_mm))

    def drawn(self, design: Design, free_mm: float, height_mm: float) -> Dimensions:
        """Return the unit of this thickness, whose diameter is the printed height."""
        return _drawn(height_mm, "thickness", free_mm, _cap_radius_mm(design, height_mm))

    def free_limits_mm(self, design: Design, height_mm: float) -> tuple[float, float]:
        """From the thickness of the two caps."""
        return 2.0 * cap_depth_mm(height_mm, _cap_radius_mm(design, height_mm)), LARGEST_MM

    def height_limits_mm(self, design: Design, free_mm: float) -> tuple[float, float]:
        """Up to where the caps take the whole thickness."""
        return SMALLEST_MM, min(LARGEST_MM, free_mm / (2.0 * cap_depth_mm(1.0, _cap_radius_mm(design, 1.0))))

    def height_mm(self, dimensions: Mapping[str, float]) -> float:
        """Return the diameter."""
        return dimensions["diameter"]

    def smooth(self, dimensions: Mapping[str, float], mount: str) -> Geometry:
        """Return the geometry on its rim.

        Source: a section at height z has two straight rims b and two arcs of radius sqrt(R^2 - z^2) over the chord
        2 sqrt(a^2 - z^2), summed over the height by Gauss-Legendre quadrature; facing d b and two circle segments.
        """
        radius, band, cap, cap_radius = _parts(dimensions)
        volume, surface = biconvex_volume_surface(radius, band, cap)
        inner = cap_radius - cap
        segments = 2.0 * (cap_radius**2 * math.acos(inner / cap_radius) - inner * radius)
        return geometry_of(
            volume,
            surface,
            _rim_outlines_mm2(radius, band, cap_radius),
            2.0 * radius * band + segments,
            2.0 * radius,
        )

    def mesh(self, dimensions: Mapping[str, float]) -> Mesh:
        """Return the unit on its rim as a closed mesh of exact volume."""
        radius, band, cap, cap_radius = _parts(dimensions)
        profile = lens_profile(radius, band, cap, cap_radius)
        return revolved_mesh(profile, biconvex_volume_surface(radius, band, cap)[0], on_its_side=True)

    def finished(self, dimensions: Mapping[str, float], terms: Terms, geometry: Geometry) -> Dimensions:
        """Return width, thickness and band grown by the bleed on both sides, the height by the over-cure."""
        return {
            "width": dimensions["diameter"] + 2.0 * terms.bleed_mm,
            "height": dimensions["diameter"] + terms.overcure_mm,
            "thickness": dimensions["thickness"] + 2.0 * terms.bleed_mm,
            "band": dimensions["band"] + 2.0 * terms.bleed_mm,
        }


def _thickness_at(design: Design, diameter_mm: float) -> float:
    thickness = kept(design, "aspect_frac", 0, 10) * diameter_mm
    least = 2.0 * cap_depth_mm(diameter_mm, _cap_radius_mm(design, diameter_mm))
    if thickness < least:
        accepted = f"{least / diameter_mm:.4f} or more, or flatter caps"
        raise BadInput.because(
            "aspect_frac", "the caps alone are higher", value=str(design.aspect_frac), accepted=accepted
        )
    return thickness


@lru_cache(maxsize=1)
def _nodes() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    return np.asarray(nodes), np.asarray(weights)


def _rim_outlines_mm2(radius: float, band: float, cap_radius: float) -> float:
    # z = a sin(t) takes the square root out of both ends of the integral.
    nodes, weights = _nodes()
    turn = nodes * np.pi / 2.0
    z = radius * np.sin(turn)
    across = np.sqrt(np.maximum(cap_radius**2 - z**2, 0.0))
    chord = np.divide(radius * np.cos(turn), across, out=np.ones_like(across), where=across > 0)
    arcs = 4.0 * across * np.arcsin(np.minimum(chord, 1.0))
    return float((weights * (2.0 * band + arcs) * radius * np.cos(turn)).sum() * np.pi / 2.0)
