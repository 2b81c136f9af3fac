"""The section stays, the height follows the dose in steps of one layer: the dose is met to the nearest layer."""

from __future__ import annotations

from printing.core.dose.model import Terms
from printing.core.dose.shapes.base import LARGEST_MM, Design, Shape, kept
from printing.core.dose.solving import Held, solve_layers


def fixed_section(shape: Shape, design: Design, target_mg: float, terms: Terms) -> Held:
    """Return the design's section and the layers nearest to the target; what is then missing is for the checks."""
    section_mm = kept(design, "fixed_section_mm", 0, LARGEST_MM)
    layers = solve_layers(shape, design, section_mm, target_mg, terms)
    return Held(layers=layers, free_mm=section_mm)
