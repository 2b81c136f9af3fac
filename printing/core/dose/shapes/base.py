"""What a shape must know to be sized; one file per shape beside this one, one class per orientation."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, Protocol, TypeAlias

from dosewright.ground.pure.errors import BadInput
from printing.core.dose.meshes import Mesh
from printing.core.dose.model import ORIENTATIONS, Geometry, Terms
from printing.core.dose.sections import MOUNTS

Dimensions: TypeAlias = dict[str, float]
"""Named lengths [mm], such as diameter and height."""
Footprint: TypeAlias = Literal["round", "stadium", "rectangle"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """Which shape is printed how, and which of its dimensions may follow the dose.

    ``aspect_frac`` is for rule uniform: height per diameter (ring: tube per outside diameter; long shapes: length
    per diameter).  ``fixed_height_mm``, the printed height, and ``fixed_tube_mm`` are for the rules of their name
    and must be whole layers; ``fixed_section_mm`` is the diameter that rule fixed_section keeps.
    ``cap_radius_frac`` is the radius of a biconvex unit's caps per diameter, whatever the rule.
    Raises BadInput for an unknown orientation or mount, or a bad layer.
    """

    shape: str
    rule: str
    orientation: str
    mount: str
    layer_um: int
    aspect_frac: float | None = None
    fixed_height_mm: float | None = None
    fixed_section_mm: float | None = None
    fixed_tube_mm: float | None = None
    cap_radius_frac: float | None = None

    def __post_init__(self) -> None:
        if self.orientation not in ORIENTATIONS:
            raise BadInput.because(
                "orientation", "is not known", value=self.orientation, accepted=", ".join(ORIENTATIONS)
            )
        if self.mount not in MOUNTS:
            raise BadInput.because("mount", "is not known", value=self.mount, accepted=", ".join(MOUNTS))
        if isinstance(self.layer_um, bool) or not isinstance(self.layer_um, int) or self.layer_um <= 0:
            raise BadInput.because("layer_um", "is no layer height", value=str(self.layer_um), accepted="whole um")

    @property
    def layer_mm(self) -> float:
        """The layer height [mm]."""
        return self.layer_um / 1_000


class Shape(Protocol):
    """A form in one orientation that can be drawn, measured in closed form, and sized."""

    name: str
    orientation: str
    outline: str
    """round or oblong: which swallowing limits apply."""
    footprint: Footprint
    """round, stadium or rectangle: what the unit keeps within, seen from above."""
    rules: tuple[str, ...]
    mounts: tuple[str, ...]
    """A sheet bonds a flat underside; everything else stands on necks."""
    lengths: tuple[str, ...]
    """The names of the finished lengths."""
    features: tuple[str, ...]
    """Finished lengths that are details of the form, not its least dimension."""
    counted_apart: bool
    """Small units that are counted apart from the few that make a dose otherwise."""

    def at_scale(self, design: Design, scale_mm: float) -> Dimensions:
        """Return the member of the similar family with this leading dimension [mm]."""

    def drawn(self, design: Design, free_mm: float, height_mm: float) -> Dimensions:
        """Return the member of this free dimension and this printed height [mm]."""

    def free_limits_mm(self, design: Design, height_mm: float) -> tuple[float, float]:
        """Return the least and the largest free dimension [mm] at a printed height."""

    def height_limits_mm(self, design: Design, free_mm: float) -> tuple[float, float]:
        """Return the least and the largest printed height [mm] at a free dimension."""

    def height_mm(self, dimensions: Mapping[str, float]) -> float:
        """Return the printed height [mm]."""

    def smooth(self, dimensions: Mapping[str, float], mount: str) -> Geometry:
        """Return the closed-form geometry of the body that the mesh stands for."""

    def mesh(self, dimensions: Mapping[str, float]) -> Mesh:
        """Return the mesh that is written."""

    def finished(self, dimensions: Mapping[str, float], terms: Terms, geometry: Geometry) -> Dimensions:
        """Return the lengths [mm] to be measured after finishing."""


SMALLEST_MM, LARGEST_MM = 0.05, 200.0
"""A search stays between a laser spot and a build plate; what is allowed is for the checks to say."""


def kept(design: Design, field: str, low: float, high: float) -> float:
    """Return what a design keeps; raises BadInput unless it is there, more than `low` and at most `high`."""
    value = getattr(design, field)
    if value is None or not (math.isfinite(value) and low < value <= high):
        accepted = f"more than {low:g}, at most {high:g}"
        message = f"a {design.shape} by rule {design.rule} needs it"
        raise BadInput.because(field, message, value=str(value), accepted=accepted)
    return float(value)


def positive(**lengths_mm: float) -> None:
    """Raise BadInput unless every length [mm] is finite and more than 0."""
    for field, value in lengths_mm.items():
        if not (math.isfinite(value) and value > 0):
            raise BadInput.because(field, "is not a positive length", value=str(value), unit="mm", accepted="> 0")


def geometry_of(
    volume_mm3: float, surface_mm2: float, perimeter_layer_mm2: float, facing_mm2: float, height_mm: float
) -> Geometry:
    """Return the closed-form geometry of a smooth body [mm, mm2, mm3]."""
    return Geometry(
        slice_volume_mm3=volume_mm3,
        perimeter_layer_mm2=perimeter_layer_mm2,
        facing_mm2=facing_mm2,
        surface_mm2=surface_mm2,
        mesh_volume_mm3=volume_mm3,
        section_mm2=volume_mm3 / height_mm,
    )
