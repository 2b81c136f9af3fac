"""One invented formulation that the sizing tests share: success and refusal start from the same set-up."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from printing.core.dose.limits import Against, Patient, ValidatedRange
from printing.core.dose.model import Terms, TermUncertainty
from printing.core.dose.shapes import Design
from printing.core.dose.sizing import SizeRequest

UNCERTAINTY = TermUncertainty(
    unit_strength_frac=0.0002,
    density_mg_mm3=0.005,
    bleed_mm=0.005,
    overcure_mm=0.01,
    leached_mm=0.004,
    bound_frac=0.001,
    outline_scatter_mm=0.01,
    height_scatter_mm=0.01,
    strength_scatter_frac=0.005,
    degrees_of_freedom={"unit_strength_frac": 9, "density_mg_mm3": 5},
)
TERMS = Terms(
    unit_strength_frac=0.03,
    density_mg_mm3=1.2,
    bleed_mm=0.02,
    overcure_mm=0.05,
    leached_mm=0.0195,
    bound_frac=0.01,
    orientation="flat",
    mount="necks",
    uncertainty=UNCERTAINTY,
)
DESIGN = Design(shape="disc", rule="uniform", orientation="flat", mount="necks", layer_um=50, aspect_frac=0.4)
VALIDATED = ValidatedRange(
    shape="disc",
    rule="uniform",
    orientation="flat",
    mount="necks",
    layer_um=(50,),
    dose_mg=(Decimal("1"), Decimal("5")),
    size_mm={"diameter": (3.0, 9.0), "height": (1.2, 4.5)},
    surface_to_volume_mm=(0.5, 3.0),
)
AGAINST = Against(validated=VALIDATED, patient=Patient(age_years=40.0), spot_mm=0.14, swelling_frac=0.05)


def request(dose: str, *, design: Design = DESIGN, terms: Terms = TERMS, against: Against = AGAINST, **more):
    """Return a request for a dose [mg] of the invented formulation."""
    return SizeRequest(dose_mg=Decimal(dose), design=design, terms=terms, against=against, **more)


def fixed_height_request(dose: str, height_mm: float = 2.5, **more):
    """Return the same by rule fixed_height."""
    design = replace(DESIGN, rule="fixed_height", aspect_frac=None, fixed_height_mm=height_mm)
    against = replace(more.pop("against", AGAINST), validated=replace(VALIDATED, rule="fixed_height"))
    return request(dose, design=design, against=against, **more)
