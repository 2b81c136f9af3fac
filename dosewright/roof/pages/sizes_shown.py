"""What the pages of a formulation and of an order show of sizes: drawings to scale, and dose against size."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils.translation import gettext as _

from dosewright.ground.pure.roles import Actor
from dosewright.roof.pages.dose_plot import DosePlot, dose_plot, mass
from dosewright.roof.pages.notation import page_of
from dosewright.roof.pages.unit_drawing import UnitDrawing, unit_drawing
from printing.core.dose.unit import UnitFigures
from printing.formulary.content import FormulationFacts, RangeFacts
from printing.formulary.curves import dose_curve
from printing.formulary.queries import validated_for
from printing.plates.queries import LineSize, sizes_of_order


@dataclass(frozen=True, slots=True, kw_only=True)
class SizeShown:
    """One unit with its heading, what is said of it, and its place in the range of its formulation."""

    heading: str
    note: str
    drawing: UnitDrawing
    plot: DosePlot | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeShown:
    """One validated range: its smallest and largest unit, and dose against size."""

    heading: str
    units: tuple[SizeShown, ...]
    plot: DosePlot | None


def formulation_sizes(actor: Actor, record: FormulationFacts, at: datetime) -> Mapping[str, Any]:
    """Draw each validated range of a formulation."""
    return {"range_sizes": tuple(_range_shown(record, one) for one in record.ranges)}


def order_sizes(actor: Actor, record: Any, at: datetime) -> Mapping[str, Any]:
    """Draw the unit of each line of an order that was sized."""
    code = getattr(record, "code", "")
    sizes = sizes_of_order(code) if code else ()
    formulation = validated_for(actor.site_id, record.substance, record.release) if sizes else None
    return {"line_sizes": tuple(_line_shown(one, formulation) for one in sizes)}


def _range_shown(facts: FormulationFacts, chosen: RangeFacts) -> RangeShown:
    curve = dose_curve(facts, chosen)
    heading = _("Range %(number)s") % {"number": chosen.number}
    if curve is None:
        return RangeShown(heading=heading, units=(), plot=None)
    ends = (
        ("smallest", _("Smallest unit of range %(number)s, %(dose)s"), curve.smallest),
        ("largest", _("Largest unit of range %(number)s, %(dose)s"), curve.largest),
    )
    units = tuple(_end_shown(chosen, unit, which, what) for which, what, unit in ends if unit is not None)
    return RangeShown(heading=heading, units=units, plot=dose_plot(curve, name=f"range-{chosen.number}"))


def _end_shown(chosen: RangeFacts, unit: UnitFigures, which: str, words: str) -> SizeShown:
    what = words % {"number": chosen.number, "dose": mass(unit.content_mg)}
    name = f"range-{chosen.number}-{which}"
    drawing = unit_drawing(unit.shape.name, unit.drawn_mm, unit.finished_mm, name=name, what=what)
    return SizeShown(heading=what, note=_("at nominal strength"), drawing=drawing)


def _line_shown(one: LineSize, formulation: FormulationFacts | None) -> SizeShown:
    size, unit = one.size, one.size["unit"]
    units = int(size["units_per_dose"])
    per_unit_mg = float(one.dose_mg) / units
    words = {"dose": mass(float(one.dose_mg)), "units": units, "each": mass(per_unit_mg), "line": one.line}
    heading = _("Line %(line)s: %(dose)s") % words
    if units > 1:
        heading = _("Line %(line)s: %(dose)s as %(units)s equal units of %(each)s") % words
    note = _("provisional, at nominal strength")
    if one.resin_lot:
        note = _("as planned with resin lot %(lot)s") % {"lot": one.resin_lot}
    drawing = unit_drawing(
        size["design"]["shape"],
        _numbers(unit["drawn_mm"]),
        _numbers(unit["finished_mm"]),
        name=f"line-{one.line}",
        what=_("Unit of line %(line)s") % words,
        link=page_of(formulation.code) if formulation else "",
    )
    return SizeShown(heading=heading, note=note, drawing=drawing, plot=_place_in_range(one, formulation, per_unit_mg))


def _place_in_range(one: LineSize, formulation: FormulationFacts | None, per_unit_mg: float) -> DosePlot | None:
    if formulation is None or formulation.default_range is None:
        return None
    chosen, design = formulation.default_range, one.size["design"]
    if (chosen.shape, chosen.rule) != (design["shape"], design["rule"]):
        return None
    curve = dose_curve(formulation, chosen)
    return None if curve is None else dose_plot(curve, name=f"line-{one.line}", ordered_mg=per_unit_mg)


def _numbers(lengths: Mapping[str, Any]) -> dict[str, float]:
    return {name: float(value) for name, value in lengths.items()}
