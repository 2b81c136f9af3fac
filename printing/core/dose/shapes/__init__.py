"""The shapes by name and orientation; a new one is a class in a file here and one line below."""

from __future__ import annotations

from dosewright.ground.pure.errors import BadInput
from printing.core.dose.shapes.base import Design, Dimensions, Shape
from printing.core.dose.shapes.biconvex import FlatBiconvex, UprightBiconvex
from printing.core.dose.shapes.capsule import LyingCapsule, StandingCapsule
from printing.core.dose.shapes.disc import Disc, MiniUnits, UprightDisc
from printing.core.dose.shapes.ring import Ring
from printing.core.dose.shapes.spheroid import FlatSpheroid, LyingSpheroid, StandingSpheroid

EVERY_SHAPE: tuple[Shape, ...] = (
    Disc(),
    UprightDisc(),
    MiniUnits(),
    Ring(),
    LyingCapsule(),
    StandingCapsule(),
    FlatSpheroid(),
    StandingSpheroid(),
    LyingSpheroid(),
    FlatBiconvex(),
    UprightBiconvex(),
)
SHAPES: dict[tuple[str, str], Shape] = {(one.name, one.orientation): one for one in EVERY_SHAPE}
SHAPE_NAMES: tuple[str, ...] = tuple(sorted({one.name for one in EVERY_SHAPE}))


def shape_named(name: str, orientation: str) -> Shape:
    """Return the shape of this name in this orientation; raises BadInput naming those there are."""
    if name not in SHAPE_NAMES:
        raise BadInput.because("shape", "is not a known shape", value=name, accepted=", ".join(SHAPE_NAMES))
    if (name, orientation) not in SHAPES:
        accepted = ", ".join(one.orientation for one in EVERY_SHAPE if one.name == name)
        message = f"shape {name} is not drawn in this orientation"
        raise BadInput.because("orientation", message, value=orientation, accepted=accepted)
    return SHAPES[name, orientation]


__all__ = ["EVERY_SHAPE", "SHAPES", "SHAPE_NAMES", "Design", "Dimensions", "Shape", "shape_named"]
