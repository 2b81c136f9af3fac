"""One sized unit: the mesh that is written and what the model says of it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from dosewright.ground.pure.errors import BadInput, Refusal
from printing.core.dose.meshes import Mesh
from printing.core.dose.model import Geometry, Terms, content_mg, loss_frac, mass_mg, measure
from printing.core.dose.rules import rule_named
from printing.core.dose.sections import Sections, sections, shallow_mm2
from printing.core.dose.shapes import Design, Dimensions, Shape, shape_named
from printing.core.dose.shapes.base import Footprint
from printing.core.dose.solving import Held, solve_free, solve_smooth


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitFigures:
    """What is said of a unit: drawn and finished lengths [mm], geometry, mass and content [mg]."""

    design: Design
    terms: Terms
    shape: Shape
    drawn_mm: Dimensions
    finished_mm: Dimensions
    layers: int
    geometry: Geometry
    mass_mg: float
    content_mg: float
    loss_frac: float

    @property
    def outline(self) -> str:
        """round or oblong: which swallowing limits apply."""
        return self.shape.outline

    @property
    def layer_um(self) -> int:
        """The layer height [um]."""
        return self.design.layer_um

    @property
    def surface_to_volume_mm(self) -> float:
        """Surface per volume of the drawn unit [1/mm]."""
        return self.geometry.surface_mm2 / self.geometry.mesh_volume_mm3


@dataclass(frozen=True, slots=True, kw_only=True)
class SizedUnit(UnitFigures):
    """A unit as it will be written, with its mesh and sections.

    ``content_mg`` is that of the written mesh; it differs from the target by quantisation only (about 1e-9), and
    by rule fixed_section by up to half a layer.
    """

    height_mm: float
    mesh: Mesh
    sections: Sections

    @property
    def footprint(self) -> Footprint:
        """round, stadium or rectangle: what the unit keeps within, seen from above."""
        return self.shape.footprint

    @property
    def footprint_um(self) -> tuple[int, int]:
        """The drawn unit's box on the plate, rounded up to whole micrometres; a round one is square."""
        x, y = (math.ceil(round(side * 1_000, 3)) for side in self.mesh.extent_mm[:2])
        return (max(x, y), max(x, y)) if self.footprint == "round" else (x, y)

    @property
    def facing_raft_mm2(self) -> float:
        """The area that looks at the raft less than 45 degrees from level, or the first layer if that is more [mm2].

        Source: common practice, overhangs from about 45 degrees carry themselves (science reference 10.1).
        """
        return max(float(self.sections.area_mm2[0]), shallow_mm2(self.mesh))

    @property
    def held_run_mm(self) -> float:
        """The length of a ring's or a lying body's underside, along which it is held [mm]; 0 for any other."""
        drawn = self.drawn_mm
        if "tube" in drawn:
            return math.pi * (drawn["diameter"] - drawn["tube"])
        return drawn["length"] if self.design.orientation == "lying" else 0.0

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
    shape, held = _held(target_mg, design, terms)
    drawn = _drawn(shape, held, design, target_mg, terms, solve_free)
    mesh = shape.mesh(drawn)
    cut = sections(mesh, design.layer_um)
    geometry = measure(mesh, cut, design.mount)
    return SizedUnit(
        design=design,
        terms=terms,
        shape=shape,
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


def sketch_unit(target_mg: float, design: Design, terms: Terms) -> UnitFigures:
    """Return the figures of the smooth unit that would hold the target: for searching and drawing, never for a plate.

    Raises as `size_unit` does.
    """
    shape, held = _held(target_mg, design, terms)
    drawn = _drawn(shape, held, design, target_mg, terms, solve_smooth)
    geometry = shape.smooth(drawn, design.mount)
    return UnitFigures(
        design=design,
        terms=terms,
        shape=shape,
        drawn_mm=drawn,
        finished_mm=shape.finished(drawn, terms, geometry),
        layers=held.layers,
        geometry=geometry,
        mass_mg=mass_mg(terms, geometry),
        content_mg=content_mg(terms, geometry),
        loss_frac=loss_frac(terms, geometry),
    )


def _held(target_mg: float, design: Design, terms: Terms) -> tuple[Shape, Held]:
    if not (math.isfinite(target_mg) and target_mg > 0):
        raise BadInput.because("dose_mg", "is no dose", value=str(target_mg), unit="mg", accepted="more than 0")
    shape = shape_named(design.shape, design.orientation)
    rule = rule_named(design.rule, shape)
    _refuse_other_terms(design, terms, shape.mounts)
    return shape, rule(shape, design, target_mg, terms)


def _drawn(
    shape: Shape,
    held: Held,
    design: Design,
    target_mg: float,
    terms: Terms,
    solve: Callable[[Shape, Design, int, float, Terms], Dimensions],
) -> Dimensions:
    if held.free_mm is not None:
        return shape.drawn(design, held.free_mm, held.layers * design.layer_um / 1_000)
    return solve(shape, design, held.layers, target_mg, terms)


def _refuse_other_terms(design: Design, terms: Terms, mounts: tuple[str, ...]) -> None:
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
    if design.mount not in mounts:
        refusals.append(
            Refusal(
                field="mount",
                message=f"shape {design.shape}, {design.orientation}, has no flat underside for it",
                value=design.mount,
                accepted=", ".join(mounts),
            )
        )
    if refusals:
        raise BadInput(*refusals)
