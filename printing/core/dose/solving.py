"""Whole layers first, then the free dimension on the mesh that is written."""

from __future__ import annotations

import math
from collections.abc import Callable
from fractions import Fraction

from dosewright.ground.pure.errors import BadInput, Blocked
from printing.core.dose.model import Terms, measure_mesh, unchecked_content_mg
from printing.core.dose.shapes.base import Design, Dimensions, Shape

SMALLEST_FREE_MM, LARGEST_FREE_MM = 0.05, 200.0
"""The search stays between a laser spot and a build plate; what is allowed is for the checks to say."""

CONTENT_RTOL = 1e-9
REFINEMENTS = 3
FREE_DECIMALS = 9
"""Free dimensions are rounded to 1e-9 mm, below the vertices' 1e-6, so that machines agree."""


def solve_scale(shape: Shape, design: Design, target_mg: float, terms: Terms) -> Dimensions:
    """Return the smooth member of the similar family that holds the target, before layers are whole."""

    def excess(scale_mm: float) -> float:
        return unchecked_content_mg(terms, shape.smooth(shape.at_scale(design, scale_mm), design.mount)) - target_mg

    return shape.at_scale(design, _root(excess, target_mg))


def nearest_layers(height_mm: float, layer_um: int) -> int:
    """Return the whole number of layers nearest to a height [mm] (half up)."""
    return math.floor(height_mm * 1_000 / layer_um + 0.5)


def exact_layers(height_mm: float, layer_um: int) -> int:
    """Return the number of layers of a fixed height [mm]; raises BadInput when it is no whole number."""
    layers = Fraction(str(height_mm)) * 1_000 / layer_um
    if layers.denominator != 1 or layers <= 0:
        raise BadInput.because(
            "fixed_height_mm",
            "is not a whole number of layers",
            value=str(height_mm),
            unit="mm",
            accepted=f"a multiple of {layer_um} um",
        )
    return int(layers)


def solve_free(shape: Shape, design: Design, layers: int, target_mg: float, terms: Terms) -> Dimensions:
    """Return the dimensions, so many layers high, whose written mesh holds the target best.

    The smooth body gives the start; each further step corrects by the content of the quantised mesh itself.
    Quantisation to 1e-6 mm leaves a residual of about 1e-9 of the content: the best of the
    steps is kept and the content that is reported is always that of the written mesh.
    """

    height_mm = layers * design.layer_um / 1_000

    def smooth_excess(free_mm: float) -> float:
        geometry = shape.smooth(shape.drawn(design, free_mm, height_mm), design.mount)
        return unchecked_content_mg(terms, geometry) - target_mg

    free = _root(smooth_excess, target_mg)
    step = free * 1e-4
    slope = (smooth_excess(free + step) - smooth_excess(free - step)) / (2.0 * step)
    best, best_error = free, math.inf
    for _ in range(REFINEMENTS):
        free = round(free, FREE_DECIMALS)
        mesh = shape.mesh(shape.drawn(design, free, height_mm))
        error = unchecked_content_mg(terms, measure_mesh(mesh, design.layer_um, design.mount)) - target_mg
        if abs(error) < best_error:
            best, best_error = free, abs(error)
        if best_error <= CONTENT_RTOL * target_mg:
            break
        free -= error / slope
    return shape.drawn(design, best, height_mm)


def _root(excess: Callable[[float], float], target_mg: float) -> float:
    from scipy.optimize import brentq

    if excess(LARGEST_FREE_MM) < 0 or excess(SMALLEST_FREE_MM) > 0:
        raise Blocked.because(
            "dose_mg",
            "no size between a laser spot and a build plate holds it",
            value=f"{target_mg:g}",
            unit="mg",
            limit=f"{SMALLEST_FREE_MM:g} to {LARGEST_FREE_MM:g} mm",
            rule="no-size",
        )
    return float(brentq(excess, SMALLEST_FREE_MM, LARGEST_FREE_MM, xtol=1e-13, rtol=8.9e-16))
