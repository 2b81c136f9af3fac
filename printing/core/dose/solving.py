"""Whole layers first, then the free dimension on the mesh that is written."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from dosewright.ground.pure.errors import BadInput, Blocked, Refused
from printing.core.dose.model import Terms, measure_mesh, unchecked_content_mg
from printing.core.dose.shapes.base import LARGEST_MM, SMALLEST_MM, Design, Dimensions, Shape

CONTENT_RTOL = 1e-9
REFINEMENTS = 6
FREE_DECIMALS = 9
"""Free dimensions are rounded to 1e-9 mm, below the vertices' 1e-6, so that machines agree."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """What a rule settles before anything is solved: the whole layers, and a free dimension that is not solved."""

    layers: int
    free_mm: float | None = None


def solve_scale(shape: Shape, design: Design, target_mg: float, terms: Terms) -> Dimensions:
    """Return the smooth member of the similar family that holds the target, before layers are whole."""

    def excess(scale_mm: float) -> float:
        return unchecked_content_mg(terms, shape.smooth(shape.at_scale(design, scale_mm), design.mount)) - target_mg

    return shape.at_scale(design, _root(excess, target_mg, (SMALLEST_MM, LARGEST_MM)))


def solve_layers(shape: Shape, design: Design, free_mm: float, target_mg: float, terms: Terms) -> int:
    """Return the whole number of layers at which a unit of this free dimension comes nearest to the target."""

    def excess(height_mm: float) -> float:
        return section_content_mg(shape, design, free_mm, height_mm, terms) - target_mg

    lowest, highest = shape.height_limits_mm(design, free_mm)
    height_mm = _root(excess, target_mg, (lowest, highest))
    below = math.floor(height_mm * 1_000 / design.layer_um)
    possible = [n for n in (below, below + 1) if max(design.layer_mm, lowest) <= n * design.layer_mm <= highest]
    if not possible:
        raise _no_size(target_mg, (lowest, highest), excess)
    return min(possible, key=lambda layers: abs(excess(layers * design.layer_mm)))


def section_content_mg(shape: Shape, design: Design, free_mm: float, height_mm: float, terms: Terms) -> float:
    """Return the content [mg] of the smooth unit of this free dimension and printed height."""
    return unchecked_content_mg(terms, shape.smooth(shape.drawn(design, free_mm, height_mm), design.mount))


def nearest_layers(height_mm: float, layer_um: int) -> int:
    """Return the whole number of layers nearest to a height [mm] (half up)."""
    return math.floor(height_mm * 1_000 / layer_um + 0.5)


def exact_layers(height_mm: float, layer_um: int, field: str = "fixed_height_mm") -> int:
    """Return the number of layers of a fixed height [mm]; raises BadInput when it is no whole number."""
    layers = Fraction(str(height_mm)) * 1_000 / layer_um
    if layers.denominator != 1 or layers <= 0:
        raise BadInput.because(
            field,
            "is not a whole number of layers",
            value=str(height_mm),
            unit="mm",
            accepted=f"a multiple of {layer_um} um",
        )
    return int(layers)


def solve_free(shape: Shape, design: Design, layers: int, target_mg: float, terms: Terms) -> Dimensions:
    """Return the dimensions, so many layers high, whose written mesh holds the target best.

    The smooth body gives the start; each further step corrects by the content of the quantised mesh itself, along
    the slope of the smooth body and then along that of the meshes (their layers do not grow quite like it).
    Quantisation to 1e-6 mm leaves a residual of about 1e-9 of the content: the best of the
    steps is kept and the content that is reported is always that of the written mesh.
    """

    height_mm = layers * design.layer_um / 1_000
    least, most = shape.free_limits_mm(design, height_mm)

    def smooth_excess(free_mm: float) -> float:
        return section_content_mg(shape, design, free_mm, height_mm, terms) - target_mg

    free = _root(smooth_excess, target_mg, (least, most))
    low, high = max(least, free * (1 - 1e-4)), min(most, free * (1 + 1e-4))
    slope = (smooth_excess(high) - smooth_excess(low)) / (high - low)
    best, best_error, before = free, math.inf, None
    for _ in range(REFINEMENTS):
        free = min(max(round(free, FREE_DECIMALS), least), most)
        mesh = shape.mesh(shape.drawn(design, free, height_mm))
        error = unchecked_content_mg(terms, measure_mesh(mesh, design.layer_um, design.mount)) - target_mg
        if abs(error) < best_error:
            best, best_error = free, abs(error)
        if best_error <= CONTENT_RTOL * target_mg:
            break
        if before is not None and before[0] != free and (before[1] - error) * (before[0] - free) > 0:
            slope = (before[1] - error) / (before[0] - free)
        before = (free, error)
        free -= error / slope
    return shape.drawn(design, best, height_mm)


def solve_smooth(shape: Shape, design: Design, layers: int, target_mg: float, terms: Terms) -> Dimensions:
    """Return the dimensions, so many layers high, at which the smooth body holds the target in closed form."""
    height_mm = layers * design.layer_um / 1_000

    def excess(free_mm: float) -> float:
        return section_content_mg(shape, design, free_mm, height_mm, terms) - target_mg

    free = _root(excess, target_mg, shape.free_limits_mm(design, height_mm))
    return shape.drawn(design, free, height_mm)


def _root(excess: Callable[[float], float], target_mg: float, limits_mm: tuple[float, float]) -> float:
    from scipy.optimize import brentq

    low, high = limits_mm
    if not low < high or excess(high) < 0 or excess(low) > 0:
        raise _no_size(target_mg, limits_mm, excess if low < high else None)
    return float(brentq(excess, low, high, xtol=1e-13, rtol=8.9e-16))


def _no_size(
    target_mg: float, limits_mm: tuple[float, float], excess: Callable[[float], float] | None = None
) -> Refused:
    """The shape, a laser spot and a build plate leave lengths that hold other contents than the one wanted."""
    contents = None if excess is None else " to ".join(f"{target_mg + excess(one):.4g}" for one in limits_mm)
    return Blocked.because(
        "dose_mg",
        f"no size of the shape holds it ({limits_mm[0]:.4g} to {limits_mm[1]:.4g} mm can be drawn)",
        value=f"{target_mg:g}",
        unit="mg",
        limit=contents,
        rule="no-size",
    )
