"""The uncertainty budget of a sized unit's content, from the uncertainties of its process terms."""

from __future__ import annotations

import math
from collections.abc import Mapping

from dosewright.ground.pure.errors import BadInput
from printing.core.dose.model import Geometry, Terms, TermUncertainty, unit_content
from printing.core.dose.uncertainty import INDEPENDENT, SYSTEMATIC, Budget, Input, uncertainty_budget

TERM_UNITS = {
    "unit_strength_frac": "mg/mg",
    "density_mg_mm3": "mg/mm3",
    "bleed_mm": "mm",
    "overcure_mm": "mm",
    "leached_mm": "mm",
    "bound_frac": "1",
}
SCATTER_UNITS = {"outline_scatter_mm": "mm", "height_scatter_mm": "mm", "strength_scatter_frac": "1"}


def content_budget(terms: Terms, geometry: Geometry, *, units: int) -> Budget:
    """Return the budget [mg per unit] for the mean content of `units` units of one dose.

    A scatter of the outline acts like bleed, a scatter of the height adds the mean section, a scatter of the
    strength multiplies.  Raises BadInput when the terms carry no uncertainties.
    Source: JCGM 100:2008 applied to the content model of design.md section 6.
    """
    stated = terms.uncertainty
    if stated is None:
        raise BadInput.because("uncertainty", "the process terms carry no uncertainties")
    inputs = [_term(terms, stated, name) for name in TERM_UNITS]
    inputs += [_scatter(stated, name) for name in SCATTER_UNITS]
    return uncertainty_budget(lambda values: _content(geometry, values), inputs, units=units)


def _content(geometry: Geometry, values: Mapping[str, float]) -> float:
    volume = (
        geometry.slice_volume_mm3
        + values["outline_scatter_mm"] * geometry.perimeter_layer_mm2
        + values["height_scatter_mm"] * geometry.section_mm2
    )
    content = unit_content(
        **{name: values[name] for name in TERM_UNITS},
        slice_volume_mm3=volume,
        perimeter_layer_mm2=geometry.perimeter_layer_mm2,
        facing_mm2=geometry.facing_mm2,
        surface_mm2=geometry.surface_mm2,
    )
    return content * (1.0 + values["strength_scatter_frac"])


def _term(terms: Terms, stated: TermUncertainty, name: str) -> Input:
    return Input(
        name=name,
        value=getattr(terms, name),
        standard_uncertainty=getattr(stated, name),
        unit=TERM_UNITS[name],
        kind=SYSTEMATIC,
        degrees_of_freedom=stated.degrees_of_freedom.get(name, math.inf),
    )


def _scatter(stated: TermUncertainty, name: str) -> Input:
    return Input(
        name=name,
        value=0.0,
        standard_uncertainty=getattr(stated, name),
        unit=SCATTER_UNITS[name],
        kind=INDEPENDENT,
        degrees_of_freedom=stated.degrees_of_freedom.get(name, math.inf),
    )
