"""All rules of the screen "patient", one after the other, blocking alerts first."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Final

from prescriptions.dose_limits import Clues, Per, check_limits
from prescriptions.dosing import BodySize
from prescriptions.findings import Finding, Severity, alert
from prescriptions.screen_facts import ScreenInput
from prescriptions.screening.allergies import screen_allergies
from prescriptions.screening.body import screen_height, screen_weight
from prescriptions.screening.state import screen_pregnancy, screen_swallowing
from prescriptions.screening.substance import screen_substance


def screen(facts: ScreenInput) -> tuple[Finding, ...]:
    """Return every alert of the screen "patient", blocking ones first; raises ValueError without doses."""
    if not facts.administrations:
        raise ValueError("an order without administrations cannot be screened")
    found = [finding for rule in RULES for finding in rule(facts)]
    order = list(Severity)
    return tuple(sorted(found, key=lambda one: order.index(one.severity)))


def screen_limits(facts: ScreenInput) -> list[Finding]:
    """Hold single doses, daily totals and the course against the substance's limits."""
    totals = facts.all_daily_mg
    own_days = {one.on_date for one in facts.administrations}
    taken = {
        Per.DOSE: [one.dose_mg for one in facts.administrations],
        Per.DAY: [total for day, total in totals.items() if day in own_days],
        Per.COURSE: [sum(totals.values(), Decimal(0))],
    }
    return check_limits(
        facts.substance.limits,
        taken,
        substance=facts.substance.name,
        route=facts.route,
        age=facts.age_at_start,
        body=BodySize(weight_kg=facts.patient.weight_kg, height_cm=facts.patient.height_cm),
        severities=facts.site.severities,
        clues=Clues(bases=facts.basis, doses_a_day=facts.most_doses_a_day),
    )


def screen_dates(facts: ScreenInput) -> list[Finding]:
    """Refuse a birth in the future and a course that starts before birth."""
    birth_date = facts.patient.birth_date
    found = []
    for rule, place, latest in (
        ("birth-in-future", "patient.birth_date", facts.today),
        ("start-before-birth", "regimen", facts.start_date),
    ):
        if birth_date > latest:
            message = f"the birth date is after {latest.isoformat()}"
            found.append(alert(rule, Severity.BLOCK, place, message, birth_date.isoformat(), latest.isoformat()))
    return found


def screen_route(facts: ScreenInput) -> list[Finding]:
    """Only forms to be swallowed are made."""
    if facts.route == "oral":
        return []
    return [alert("route", Severity.BLOCK, "route", "only forms to be swallowed are made", facts.route, "oral")]


def screen_duplicates(facts: ScreenInput) -> list[Finding]:
    """Name every other active order of the same moiety."""
    message = "another order of the same substance is active"
    return [alert("duplicate-order", Severity.REASON, "substance", message, code) for code in facts.other_orders]


RULES: Final[tuple[Callable[[ScreenInput], list[Finding]], ...]] = (
    screen_dates,
    screen_limits,
    screen_weight,
    screen_height,
    screen_allergies,
    screen_swallowing,
    screen_pregnancy,
    screen_substance,
    screen_route,
    screen_duplicates,
)
