"""The shapes by name; a new shape is one file and one line here."""

from __future__ import annotations

from dosewright.ground.pure.errors import BadInput
from printing.core.dose.shapes.base import Design, Dimensions, Shape
from printing.core.dose.shapes.disc import Disc

SHAPES: dict[str, Shape] = {shape.name: shape for shape in (Disc(),)}


def shape_named(name: str) -> Shape:
    """Return the shape of this name; raises BadInput naming those there are."""
    if name not in SHAPES:
        raise BadInput.because("shape", "is not a known shape", value=name, accepted=", ".join(sorted(SHAPES)))
    return SHAPES[name]


__all__ = ["SHAPES", "Design", "Dimensions", "Shape", "shape_named"]
