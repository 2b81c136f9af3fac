"""The height stays, the outline follows the dose."""

from __future__ import annotations

from dosewright.ground.pure.errors import BadInput
from printing.core.dose.model import Terms
from printing.core.dose.shapes.base import Design, Dimensions, Shape
from printing.core.dose.solving import exact_layers, solve_free


def fixed_height(shape: Shape, design: Design, target_mg: float, terms: Terms) -> Dimensions:
    """Return the dimensions [mm] that hold the target at the design's height."""
    if design.fixed_height_mm is None:
        raise BadInput.because("fixed_height_mm", "rule fixed_height needs it", accepted="a whole number of layers")
    layers = exact_layers(design.fixed_height_mm, design.layer_um)
    return solve_free(shape, design, layers, target_mg, terms)
