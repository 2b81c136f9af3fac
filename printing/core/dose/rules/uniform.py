"""All dimensions follow the dose in one proportion, as near as whole layers allow."""

from __future__ import annotations

from printing.core.dose.model import Terms
from printing.core.dose.shapes.base import Design, Shape
from printing.core.dose.solving import Held, nearest_layers, solve_scale


def uniform(shape: Shape, design: Design, target_mg: float, terms: Terms) -> Held:
    """Return the whole layers nearest to the similar unit that holds the target; the free dimension is solved."""
    ideal = solve_scale(shape, design, target_mg, terms)
    # A unit thinner than one layer stays one layer here; the check on layers refuses it.
    layers = max(1, nearest_layers(shape.height_mm(ideal), design.layer_um))
    return Held(layers=layers)
