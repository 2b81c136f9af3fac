"""All dimensions follow the dose in one proportion, as near as whole layers allow."""

from __future__ import annotations

from printing.core.dose.model import Terms
from printing.core.dose.shapes.base import Design, Dimensions, Shape
from printing.core.dose.solving import nearest_layers, solve_free, solve_scale


def uniform(shape: Shape, design: Design, target_mg: float, terms: Terms) -> Dimensions:
    """Return the dimensions [mm] that hold the target: nearest whole layers, then the free dimension."""
    ideal = solve_scale(shape, design, target_mg, terms)
    # A unit thinner than one layer stays one layer here; the check on layers refuses it.
    layers = max(1, nearest_layers(shape.height_mm(ideal), design.layer_um))
    return solve_free(shape, design, layers, target_mg, terms)
