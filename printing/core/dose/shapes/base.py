"""What a shape must know to be sized; one file per shape beside this one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol, TypeAlias

from dosewright.ground.pure.errors import BadInput
from printing.core.dose.meshes import Mesh
from printing.core.dose.model import ORIENTATIONS, Geometry, Terms
from printing.core.dose.sections import MOUNTS

Dimensions: TypeAlias = dict[str, float]
"""Named lengths [mm], such as diameter and height."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Design:
    """Which shape is printed how, and which of its dimensions may follow the dose.

    ``aspect_frac`` is height per diameter for rule uniform; ``fixed_height_mm`` is for rule fixed_height and
    must be a whole number of layers.  Raises BadInput for an unknown orientation or mount, or a bad layer.
    """

    shape: str
    rule: str
    orientation: str
    mount: str
    layer_um: int
    aspect_frac: float | None = None
    fixed_height_mm: float | None = None

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
    """A form that can be drawn, measured in closed form, and sized."""

    name: str
    outline: str
    """round or oblong: which swallowing limits apply."""
    orientations: tuple[str, ...]
    rules: tuple[str, ...]

    def at_scale(self, design: Design, scale_mm: float) -> Dimensions:
        """Return the member of the similar family with this free dimension [mm]."""

    def drawn(self, design: Design, free_mm: float, height_mm: float) -> Dimensions:
        """Return the member of this free dimension and this printed height [mm]."""

    def free_mm(self, dimensions: Mapping[str, float]) -> float:
        """Return the dimension that is solved [mm]."""

    def height_mm(self, dimensions: Mapping[str, float]) -> float:
        """Return the printed height [mm]."""

    def smooth(self, dimensions: Mapping[str, float], mount: str) -> Geometry:
        """Return the closed-form geometry of the body that the mesh stands for."""

    def mesh(self, dimensions: Mapping[str, float]) -> Mesh:
        """Return the mesh that is written."""

    def finished(self, dimensions: Mapping[str, float], terms: Terms, geometry: Geometry) -> Dimensions:
        """Return the lengths [mm] to be measured after finishing."""
