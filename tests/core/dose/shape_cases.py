"""One design of every shape, orientation and rule, for tests that hold for all of them; every figure is invented."""

from __future__ import annotations

from dataclasses import replace

from printing.core.dose.model import Terms
from printing.core.dose.shapes import EVERY_SHAPE, Design
from tests.core.dose.standing import TERMS

ASPECTS = {"ring": 0.3, "capsule-shaped": 2.5, "biconvex": 0.5, "disc": 0.5, "mini-units": 0.8}
HEIGHTS_MM = {"standing": 10.0, "upright": 7.0, "lying": 5.0, "flat": 4.0}


def aspect_frac(shape: str, orientation: str) -> float:
    """Return a share that the shape takes by rule uniform."""
    return (0.7 if orientation == "flat" else 1.6) if shape == "spheroid" else ASPECTS[shape]


def design_of(shape: str, orientation: str, rule: str, layer_um: int = 50) -> Design:
    """Return a design of the shape with all that any rule keeps."""
    return Design(
        shape=shape,
        rule=rule,
        orientation=orientation,
        mount="necks",
        layer_um=layer_um,
        aspect_frac=aspect_frac(shape, orientation),
        fixed_height_mm=HEIGHTS_MM[orientation],
        fixed_section_mm=5.0,
        fixed_tube_mm=2.5,
        cap_radius_frac=1.1 if shape == "biconvex" else None,
    )


def terms_of(orientation: str, terms: Terms = TERMS) -> Terms:
    """Return the invented process terms as if assayed in this orientation."""
    return replace(terms, orientation=orientation)


EVERY_WAY = [(one.name, one.orientation, rule) for one in EVERY_SHAPE for rule in one.rules]
"""Every shape in every orientation by every rule it takes."""

EVERY_FORM = [(one.name, one.orientation) for one in EVERY_SHAPE]
