"""One sized unit: the mesh that is written and what the model says of it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from dosewright.ground.pure.errors import BadInput, Refusal
from printing.core.dose.meshes import Mesh
from printing.core.dose.model import Geometry, Terms, content_mg, loss_frac, mass_mg, measure
from printing.core.dose.rules import rule_named
from printing.core.dose.sections import Sections, sections
from printing.core.dose.shapes import Design, Dimensions, shape_named


@dataclass(frozen=True, slots=True, kw_only=True)
class SizedUnit:
    """A unit as it will be written: drawn and finished lengths [mm], its mesh, sections, mass and content.

    ``content_mg`` is that of the written mesh; it differs from the target by quantisation only (about 1e-9).
    """

    design: Design
    terms: Terms
    outline: str
    drawn_mm: Dimensions
    finished_mm: Dimensions
    layers: int
    height_mm: float
    mesh: Mesh
    sections: Sections
    geometry: Geometry
    mass_mg: float
    content_mg: float
    loss_frac: float

    @property
    def layer_um(self) -> int:
        """The layer height [um]."""
        return self.design.layer_um

    @property
    def surface_to_volume_mm(self) -> float:
        """Surface per volume of the drawn unit [1/mm]."""
        return self.geometry.surface_mm2 / self.geometry.mesh_volume_mm3

    @property
    def footprint_um(self) -> tuple[int, int]:
        """The drawn unit's box on the plate, rounded up to whole micrometres."""
        x, y, _ = self.mesh.extent_mm
        return math.ceil(round(x * 1_000, 3)), math.ceil(round(y * 1_000, 3))

    def as_dict(self) -> dict[str, Any]:
        """Return the `unit` of the `size` command's answer."""
        terms, geometry = self.terms, self.geometry
        return {
            "mesh_volume_mm3": geometry.mesh_volume_mm3,
            "drawn_mm": dict(self.drawn_mm),
            "finished_mm": dict(self.finished_mm),
            "layers": self.layers,
            "layer_um": self.layer_um,
            "height_mm": self.height_mm,
            "surface_mm2": geometry.surface_mm2,
            "mass_mg": self.mass_mg,
            "content_mg": self.content_mg,
            "model": {
                "unit_strength_frac": terms.unit_strength_frac,
                "density_mg_mm3": terms.density_mg_mm3,
                "slice_volume_mm3": geometry.slice_volume_mm3,
                "bleed_mm": terms.bleed_mm,
                "perimeter_layer_mm2": geometry.perimeter_layer_mm2,
                "overcure_mm": terms.overcure_mm,
                "facing_mm2": geometry.facing_mm2,
                "leached_mm": terms.leached_mm,
                "bound_frac": terms.bound_frac,
            },
        }


def size_unit(target_mg: float, design: Design, terms: Terms) -> SizedUnit:
    """Return the unit of this design that holds the target: whole layers first, then the free dimension.

    target_mg: content of one unit [mg] > 0.  terms: assayed in the design's orientation and mount.
    Returns the unit, its content that of the written mesh.
    Raises BadInput for an unknown shape or rule, terms of another orientation or mount, or a bad target;
    Blocked when nothing printable holds it or the predicted loss to the wash is over 10 %.
    Source: science reference 1.1 (item 3), 1.3; design.md section 6.
    """
    if not (math.isfinite(target_mg) and target_mg > 0):
        raise BadInput.because("dose_mg", "is no dose", value=str(target_mg), unit="mg", accepted="more than 0")
    shape = shape_named(design.shape)
    rule = rule_named(design.rule, shape)
    _refuse_other_terms(design, terms, shape.orientations)
    drawn = rule(shape, design, target_mg, terms)
    mesh = shape.mesh(drawn)
    cut = sections(mesh, design.layer_um)
    geometry = measure(mesh, cut, design.mount)
    return SizedUnit(
        design=design,
        terms=terms,
        outline=shape.outline,
        drawn_mm=drawn,
        finished_mm=shape.finished(drawn, terms, geometry),
        layers=cut.layers,
        height_mm=mesh.extent_mm[2],
        mesh=mesh,
        sections=cut,
        geometry=geometry,
        mass_mg=mass_mg(terms, geometry),
        content_mg=content_mg(terms, geometry),
        loss_frac=loss_frac(terms, geometry),
    )


def _refuse_other_terms(design: Design, terms: Terms, printed: tuple[str, ...]) -> None:
    refusals = [
        Refusal(
            field=field,
            message="the process terms come from units printed otherwise",
            value=asked,
            accepted=known,
            rule="other-process-terms",
        )
        for field, asked, known in (
            ("orientation", design.orientation, terms.orientation),
            ("mount", design.mount, terms.mount),
        )
        if asked != known
    ]
    if design.orientation not in printed:
        refusals.append(
            Refusal(
                field="orientation",
                message=f"a {design.shape} is not drawn in this orientation",
                value=design.orientation,
                accepted=", ".join(printed),
            )
        )
    if refusals:
        raise BadInput(*refusals)
