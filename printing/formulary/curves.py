"""How a unit grows with its dose, over the validated range and a little beyond it: for people to look at."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dosewright.ground.pure.errors import Refused
from printing.core.dose.model import Terms
from printing.core.dose.unit import UnitFigures, sketch_unit
from printing.formulary.content import FormulationFacts, RangeFacts
from printing.formulary.designs import design_of, nominal_terms

STEPS = 24
BEYOND_FRAC = 0.12
"""How far a curve goes on beyond the range on either side, as a share of its width."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CurvePoint:
    """One content of a unit [mg] with its finished lengths [mm], layers and mass [mg], and whether it was studied."""

    dose_mg: float
    finished_mm: Mapping[str, float]
    layers: int
    mass_mg: float
    surface_to_volume_mm: float
    studied: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DoseCurve:
    """The units of one validated range by dose, at the formulation's nominal strength."""

    chosen: RangeFacts
    lengths: tuple[str, ...]
    points: tuple[CurvePoint, ...]
    smallest: UnitFigures | None
    largest: UnitFigures | None


def dose_curve(facts: FormulationFacts, chosen: RangeFacts) -> DoseCurve | None:
    """Return the smooth units of a range over its doses per unit; None where the way has no usable process terms."""
    try:
        terms = nominal_terms(facts, chosen)
    except Refused:
        return None
    low, high = float(chosen.dose_min_mg), float(chosen.dose_max_mg)
    points = [one for dose in _doses(low, high) if (one := _point(chosen, terms, dose)) is not None]
    ends = [_unit(chosen, terms, dose) for dose in (low, high)]
    known = next((one for one in ends if one is not None), None)
    return DoseCurve(
        chosen=chosen,
        lengths=() if known is None else known.shape.lengths,
        points=tuple(points),
        smallest=ends[0],
        largest=ends[1],
    )


def _doses(low: float, high: float) -> list[float]:
    """The ends of the range exactly, even steps between them, and one step beyond each."""
    width = high - low or low
    inner = [low + width * k / STEPS for k in range(STEPS)] + [high]
    below = low - BEYOND_FRAC * width
    return ([below] if below > 0 else []) + inner + [high + BEYOND_FRAC * width]


def _point(chosen: RangeFacts, terms: Terms, dose_mg: float) -> CurvePoint | None:
    unit = _unit(chosen, terms, dose_mg)
    if unit is None:
        return None
    return CurvePoint(
        dose_mg=dose_mg,
        finished_mm=unit.finished_mm,
        layers=unit.layers,
        mass_mg=unit.mass_mg,
        surface_to_volume_mm=unit.surface_to_volume_mm,
        studied=float(chosen.dose_min_mg) <= dose_mg <= float(chosen.dose_max_mg),
    )


def _unit(chosen: RangeFacts, terms: Terms, dose_mg: float) -> UnitFigures | None:
    try:
        return sketch_unit(dose_mg, design_of(chosen), terms)
    except Refused:
        return None
