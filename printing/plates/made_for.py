"""What the form itself raises for who would take it: the rules of prescriptions, asked of the formulation."""

from __future__ import annotations

from prescriptions.findings import Finding
from prescriptions.queries.facts import OrderFacts
from prescriptions.queries.figures import allergies_written
from prescriptions.screening.made_form import MadeForm, Taker, screen_made_form
from printing.formulary.content import FormulationFacts

MINI_UNITS = "mini-units"
"""The shape of a formulation whose units are small and counted apart."""


def form_findings(order: OrderFacts, formulation: FormulationFacts) -> list[Finding]:
    """Return the alerts of release, age, swallowing and ingredients that a formulation raises for an order."""
    taker = Taker(
        age_months=order.fit.age_months, swallowing=order.fit.swallowing, allergies=allergies_written(order.code)
    )
    return screen_made_form(made_form(formulation), taker, release_ordered=order.release)


def made_form(formulation: FormulationFacts) -> MadeForm:
    """Return what the prescriptions' rules ask of a form; a premix counts with all that is in it."""
    usual = formulation.default_range
    weighed = [line.ingredient for line in formulation.recipe]
    names = [part.ingredient.name for one in weighed for part in one.premix] + [one.name for one in weighed]
    return MadeForm(
        name=formulation.form_name,
        release=formulation.release,
        mini_units=usual is not None and usual.shape == MINI_UNITS,
        ingredients=tuple(dict.fromkeys(names)),
    )
