"""Which formulation an order's lines are made of, and each line sized for its patient."""

from __future__ import annotations

from decimal import Decimal

from dosewright.ground.pure.site_values import SiteValues
from prescriptions.queries.facts import LineFacts, OrderFacts
from prescriptions.queries.moiety import daily_elsewhere_mg
from printing.core.dose.sizing import SizedDose
from printing.formulary.content import FormulationFacts
from printing.formulary.designs import Fit, size_order_dose


def fits(formulation: FormulationFacts, order: OrderFacts) -> bool:
    """Say whether a formulation holds the ordered substance with the ordered release."""
    return (formulation.substance, formulation.release) == (order.substance, order.release)


def size_line(
    formulation: FormulationFacts,
    order: OrderFacts,
    line: LineFacts,
    *,
    site: SiteValues,
    resin_strength_mg_g: Decimal | None = None,
    u_resin_strength_mg_g: Decimal | None = None,
) -> SizedDose:
    """Return one dose line as equal units for its patient; with a lot's strength, else the nominal one.

    Raises DoseNotPossible with the binding limit and the nearest doses, and the other refusals of sizing.
    """
    return size_order_dose(
        formulation,
        dose_mg=line.dose_mg,
        resin_strength_mg_g=resin_strength_mg_g,
        u_resin_strength_mg_g=u_resin_strength_mg_g,
        fit=fit_of(order, line),
        site=site,
    )


def fit_of(order: OrderFacts, line: LineFacts) -> Fit:
    """Return what sizing needs of the patient.

    The day's dose counts every line that may fall on one day with this one, and the patient's other active orders
    that one formulation holds: residues are taken with all of them.
    """
    together = [one for one in order.lines if one.starts_on <= line.ends_on and line.starts_on <= one.ends_on]
    return Fit(
        age_days=order.fit.age_days,
        weight_kg=order.fit.weight_kg,
        own_size_limit_mm=order.fit.largest_unit_mm,
        doses_per_day=Decimal(line.doses_per_day),
        daily_dose_mg=sum((one.dose_mg * one.doses_per_day for one in together), daily_elsewhere_mg(order.code)),
    )
