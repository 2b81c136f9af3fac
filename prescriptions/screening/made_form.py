"""What depends on the form that would be made: release, size for those who take mini-units only, ingredients.

PURE; the screen "making" of printing asks it, since only printing knows which formulation holds an order.
"""

from __future__ import annotations

from dataclasses import dataclass

from prescriptions.findings import Finding, Severity, alert
from prescriptions.screening.allergies import PLACE, named_in
from prescriptions.screening.likeness import folded, letters_of
from prescriptions.screening.state import MINI_UNITS_BELOW_MONTHS


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeForm:
    """The form that would be made: its people's name, its release, whether it comes as mini-units, what is in it."""

    name: str
    release: str
    mini_units: bool
    ingredients: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Taker:
    """Who would take it: age at the first dose [completed months], how they swallow, allergies as written."""

    age_months: int
    swallowing: str
    allergies: tuple[str, ...] = ()


def screen_made_form(made: MadeForm, taker: Taker, *, release_ordered: str) -> list[Finding]:
    """Return the alerts that the form itself raises for who would take it."""
    found = screen_release(made.release, release_ordered)
    if not made.mini_units and taker.age_months < MINI_UNITS_BELOW_MONTHS:
        message, limit = (
            f"under 24 months mini-units only, and the form is the {made.name}",
            str(MINI_UNITS_BELOW_MONTHS),
        )
        months = str(taker.age_months)
        found.append(alert("age-form", Severity.BLOCK, "patient.birth_date", message, months, limit, "month"))
    if not made.mini_units and taker.swallowing == "mini-units only":
        message = f"the patient takes mini-units only, and the form is the {made.name}"
        found.append(alert("swallowing-form", Severity.BLOCK, "patient.swallowing", message, taker.swallowing))
    return [*found, *_screen_ingredients(made, taker)]


def screen_release(made: str, ordered: str) -> list[Finding]:
    """Hold the release that is made against the one that is ordered: one for the other dumps or starves."""
    if made == ordered:
        return []
    message = f"{ordered} release is ordered, {made} release would be made"
    return [alert("release-class", Severity.BLOCK, "release", message, made, ordered)]


def _screen_ingredients(made: MadeForm, taker: Taker) -> list[Finding]:
    found = []
    for text in taker.allergies:
        hit = [name for name in made.ingredients if _names(text, name)]
        if hit:
            message = f'the allergy "{text}" matches {hit[0]}, which is in the form'
            found.append(alert("allergy-ingredient", Severity.BLOCK, PLACE, message, text))
    return found


def _names(text: str, ingredient: str) -> bool:
    """Brackets, hyphens, numbers and blanks are written in many ways, so that letters alone are compared too."""
    return named_in(folded(text), {folded(ingredient)}) or named_in(letters_of(text), {letters_of(ingredient)})
