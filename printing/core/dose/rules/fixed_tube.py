"""The tube of a ring stays, its circle follows the dose: surface per volume is the same for every dose."""

from __future__ import annotations

from printing.core.dose.model import Terms
from printing.core.dose.shapes.base import LARGEST_MM, Design, Shape, kept
from printing.core.dose.solving import Held, exact_layers


def fixed_tube(shape: Shape, design: Design, target_mg: float, terms: Terms) -> Held:
    """Return the layers of the design's tube, whatever the target; the outside diameter is solved."""
    tube_mm = kept(design, "fixed_tube_mm", 0, LARGEST_MM)
    return Held(layers=exact_layers(tube_mm, design.layer_um, "fixed_tube_mm"))
