"""The height stays, the outline follows the dose."""

from __future__ import annotations

from printing.core.dose.model import Terms
from printing.core.dose.shapes.base import LARGEST_MM, Design, Shape, kept
from printing.core.dose.solving import Held, exact_layers


def fixed_height(shape: Shape, design: Design, target_mg: float, terms: Terms) -> Held:
    """Return the layers of the design's printed height, whatever the target; the free dimension is solved."""
    return Held(layers=exact_layers(kept(design, "fixed_height_mm", 0, LARGEST_MM), design.layer_um))
