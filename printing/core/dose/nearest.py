"""The nearest doses that can be made: looked for on smooth units, offered only when sized as they would be written."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from fractions import Fraction

from printing.core.dose.shapes import Shape, shape_named
from printing.core.dose.shapes.base import LARGEST_MM, kept
from printing.core.dose.sizing import Nearest, SizeRequest, attempt, checked_dose, may_be_made, units_to_try
from printing.core.dose.solving import section_content_mg

GRID = 25
"""Unit doses tried across the validated range."""
HALVINGS = 14
STEPS_BACK = 25
SPAN = 64
"""Without a validated range the search goes this many times below and above the dose."""
OFFERED_DIGITS = 3
MOST_LAYERS = 2_000


def nearest_doses(request: SizeRequest) -> Nearest:
    """Return the largest dose below and the smallest above the request's that can be sized without a block.

    Both are rounded to what can be ordered, away from the request, and sized again; one that still fails is
    stepped further.  None where nothing on the grid of unit doses can be made.
    """
    return Nearest(below=_beside(request, upward=False), above=_beside(request, upward=True))


def _beside(request: SizeRequest, *, upward: bool) -> Decimal | None:
    dose = checked_dose(request.dose_mg)
    edges = [edge for units in _neighbours(request) if (edge := _edge(request, dose, units, upward)) is not None]
    for edge in sorted(edges, reverse=not upward):
        offered = _orderable(request, edge, dose, upward)
        if offered is not None:
            return offered
    return None


def _neighbours(request: SizeRequest) -> Iterable[int]:
    """The numbers of units to look at; of mini-units one fewer and one more may carry a dose beside this one."""
    tried = units_to_try(request)
    if request.units_per_dose is None and _shape(request).counted_apart:
        most = request.against.site.most_mini_units
        return [n for n in (tried[0] - 1, *tried, tried[-1] + 1) if 1 <= n <= most]
    return tried


def _shape(request: SizeRequest) -> Shape:
    return shape_named(request.design.shape, request.design.orientation)


def _edge(request: SizeRequest, dose: Fraction, units: int, upward: bool) -> Fraction | None:
    """The whole dose of `units` units nearest to `dose` on its side that can be made, to a bisection's width."""
    beyond = dose / units
    for tried in _unit_doses(request, dose, units, upward):
        if may_be_made(request, tried * units, units):
            if request.design.rule == "fixed_section":
                return tried * units
            at_end = _outside_studied(request, beyond) and tried in _ends(request)
            return (tried if at_end else _bisected(request, tried, beyond, units)) * units
        beyond = tried
    return None


def _ends(request: SizeRequest) -> tuple[Fraction, ...]:
    studied = request.against.validated
    return () if studied is None else (Fraction(studied.dose_mg[0]), Fraction(studied.dose_mg[1]))


def _outside_studied(request: SizeRequest, unit_dose: Fraction) -> bool:
    """Whether the validated range alone blocks a unit dose, so that its end needs no search."""
    ends = _ends(request)
    return bool(ends) and not request.against.development and not ends[0] <= unit_dose <= ends[1]


def _unit_doses(request: SizeRequest, dose: Fraction, units: int, upward: bool) -> Iterator[Fraction]:
    """Unit doses on the wanted side, the nearest first, with the ends of the validated range exactly.

    By rule fixed_section the doses of whole layers, each met exactly, take the place of a grid.
    """
    centre = dose / units
    studied = request.against.validated
    low, high = (centre / SPAN, centre * SPAN) if studied is None else (Fraction(d) for d in studied.dose_mg)
    ratio = math.log(high / low)
    inner = [Fraction(float(low) * math.exp(ratio * k / (GRID - 1))) for k in range(1, GRID - 1)]
    if request.design.rule == "fixed_section":
        inner = _whole_layers(request, low, high)
    grid = [low, *inner, high]
    side = [one for one in grid if (one > centre if upward else one < centre)]
    return iter(side if upward else side[::-1])


def _whole_layers(request: SizeRequest, low: Fraction, high: Fraction) -> list[Fraction]:
    """The contents of units of whole layers at the kept section, within low to high."""
    design, shape = request.design, _shape(request)
    section_mm = kept(design, "fixed_section_mm", 0, LARGEST_MM)
    contents = []
    for layers in range(1, MOST_LAYERS + 1):
        height_mm = layers * design.layer_um / 1_000
        if height_mm < shape.height_limits_mm(design, section_mm)[0]:
            continue
        contents.append(Fraction(section_content_mg(shape, design, section_mm, height_mm, request.terms)))
        if contents[-1] > high:
            break
    return [one for one in contents if low < one < high]


def _bisected(request: SizeRequest, good: Fraction, bad: Fraction, units: int) -> Fraction:
    for _ in range(HALVINGS):
        middle = (good + bad) / 2
        if may_be_made(request, middle * units, units):
            good = middle
        else:
            bad = middle
    return good


def _orderable(request: SizeRequest, edge: Fraction, dose: Fraction, upward: bool) -> Decimal | None:
    step = request.orderable_step_mg or Decimal(1).scaleb(math.floor(math.log10(edge)) - OFFERED_DIGITS + 1)
    value = Decimal(edge.numerator) / Decimal(edge.denominator)
    offered = (value / step).to_integral_value(ROUND_CEILING if upward else ROUND_FLOOR) * step
    for _ in range(STEPS_BACK):
        if offered <= 0:
            return None
        exact = Fraction(offered)
        beside = exact > dose if upward else exact < dose
        units = [one for one in units_to_try(_at(request, offered)) if may_be_made(request, exact, one)]
        if beside and any(_sized(request, exact, one) for one in units):
            return offered
        offered += step if upward else -step
    return None


def _at(request: SizeRequest, dose_mg: Decimal) -> SizeRequest:
    return replace(request, dose_mg=dose_mg)


def _sized(request: SizeRequest, dose: Fraction, units: int) -> bool:
    return attempt(request, dose, units).dose is not None
