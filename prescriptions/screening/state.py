"""Age, swallowing, feeding tube, stricture and pregnancy: can this person take a solid form of this substance?"""

from __future__ import annotations

from typing import Final

from prescriptions.findings import Finding, Severity, alert
from prescriptions.screen_facts import ScreenInput

NO_SOLID_BELOW_MONTHS: Final = 6
MINI_UNITS_BELOW_MONTHS: Final = 24
CHOKING_BELOW_MONTHS: Final = 72
"""Ages that bound solid forms [months]: common practice, no source; the site's pharmacists judge each child."""

FERTILE_YEARS: Final = (10, 55)
"""Ages at which an unknown pregnancy is asked about [years]; judgement, no source."""

SWALLOWS: Final = ("solids", "mini-units only")


def screen_swallowing(facts: ScreenInput) -> list[Finding]:
    """Hold a solid dosage form against age, swallowing, feeding tube and stricture."""
    found = _screen_age(facts)
    swallowing = facts.patient.swallowing
    place = "patient.swallowing"
    if swallowing == "not assessed":
        message = "nobody has assessed whether the patient can swallow the form"
        found.append(alert("swallowing", Severity.REASON, place, message, swallowing))
    elif swallowing not in SWALLOWS:
        message = "the patient cannot swallow a solid form"
        found.append(alert("swallowing", Severity.BLOCK, place, message, swallowing))
    for rule, name, said, message in (
        ("feeding-tube", "feeding_tube", facts.patient.feeding_tube, "printed forms are not for feeding tubes"),
        ("stricture", "stricture", facts.patient.stricture, "a solid form that swells may lodge in a stricture"),
    ):
        if said:
            found.append(alert(rule, Severity.BLOCK, f"patient.{name}", message, "yes"))
        if said is None:
            open_question = f"not recorded whether the patient has one: {message}"
            found.append(alert(rule, Severity.INFORM, f"patient.{name}", open_question, "not recorded"))
    return found


def _screen_age(facts: ScreenInput) -> list[Finding]:
    months = facts.age_at_start.months
    place, value = "patient.birth_date", str(months)
    if months < NO_SOLID_BELOW_MONTHS:
        message, limit = "no solid dosage form under 6 months", str(NO_SOLID_BELOW_MONTHS)
        return [alert("age-no-solid", Severity.BLOCK, place, message, value, limit, "month")]
    if months < MINI_UNITS_BELOW_MONTHS:
        message, limit = "from 6 to 24 months mini-units only, and with a reason", str(MINI_UNITS_BELOW_MONTHS)
        return [alert("age-mini-units", Severity.REASON, place, message, value, limit, "month")]
    if months < CHOKING_BELOW_MONTHS:
        message = "under 6 years: choking hazard, see that the child can take the form"
        return [alert("age-choking", Severity.INFORM, place, message, value, str(CHOKING_BELOW_MONTHS), "month")]
    return []


def screen_pregnancy(facts: ScreenInput) -> list[Finding]:
    """Block a hazardous substance where pregnancy is possible, and ask where nobody said."""
    possible, hazardous = facts.patient.pregnancy_possible, facts.substance.hazardous
    place = "patient.pregnancy_possible"
    if possible:
        severity = Severity.BLOCK if hazardous else Severity.INFORM
        message = "pregnancy is possible" + (" and the substance is hazardous" if hazardous else "")
        return [alert("pregnancy", severity, place, message, "yes")]
    first, last = FERTILE_YEARS
    at_risk = facts.patient.sex != "male" and first <= facts.age_at_start.years <= last
    if possible is None and hazardous and at_risk:
        message = "the substance is hazardous and nobody said whether pregnancy is possible"
        return [alert("pregnancy", Severity.REASON, place, message, "not recorded")]
    return []
