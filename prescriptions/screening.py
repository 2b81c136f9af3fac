"""The screen "patient": an order against what is known of the patient, the substance and the site.

PURE: facts in, alerts out. Every rule looks at the facts given and says nothing of what it cannot see; the
screen "making" belongs to printing. Rules without a named source are the house's (common practice or
judgement, no source) and say so in the alert.
"""

from __future__ import annotations

import unicodedata
from collections import Counter
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from itertools import pairwise
from typing import Final

from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.quantities import Basis
from prescriptions.body_weight import (
    BANDS_SOURCE,
    VALIDITY_SOURCE,
    age_on,
    believable_kg,
    weight_slip,
    weight_valid_days,
)
from prescriptions.dose_limits import Per, check_limits
from prescriptions.dosing import BodySize
from prescriptions.findings import Finding, Severity
from prescriptions.screen_facts import AllergyEntry, ScreenInput, SubstanceFacts

HOUSE: Final = "house rule, common practice or judgement, no source"
ADULT_MONTHS: Final = 216
FERTILE_YEARS: Final = (10, 55)
"""Ages at which an unknown pregnancy is asked about [years]; judgement, no source."""

_FAR_OFF: Final = 2
"""A weight beyond the band by this factor is no weight of that age [multiple]; judgement, no source."""
_SHORTEST_NAME: Final = 4


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
            found.append(_alert(rule, Severity.BLOCK, place, message, birth_date.isoformat(), latest.isoformat()))
    return found


def screen_weight(facts: ScreenInput) -> list[Finding]:
    """Ask for a weight, for one that is believable, and for one that is in date when printing starts."""
    weight_kg, weight_date = facts.patient.weight_kg, facts.patient.weight_date
    if weight_kg is None or weight_date is None:
        severity = Severity.BLOCK if _weight_matters(facts) else Severity.REASON
        return [_alert("weight-missing", severity, "patient.weight", "no weight with its date is on file")]
    return [*_screen_believable(facts, weight_kg), *_screen_in_date(facts, weight_date)]


def _weight_matters(facts: ScreenInput) -> bool:
    by_size = any(limit.basis is not Basis.ABSOLUTE for limit in facts.substance.limits)
    return by_size or facts.basis != {Basis.ABSOLUTE} or facts.age_at_start.months < ADULT_MONTHS


def _screen_believable(facts: ScreenInput, weight_kg: Decimal) -> list[Finding]:
    low, high = believable_kg(facts.age_at_start, facts.patient.sex)
    if low <= weight_kg <= high:
        return []
    slip = weight_slip(weight_kg, low, high)
    far_off = weight_kg * _FAR_OFF < low or weight_kg > high * _FAR_OFF
    limit = f"{decimal_text(low)} to {decimal_text(high)}"
    message = f"{decimal_text(weight_kg)} kg is hardly believable at this age"
    return [
        Finding(
            rule="weight-hardly-believable",
            severity=Severity.BLOCK if far_off else Severity.REASON,
            field="patient.weight",
            value=decimal_text(weight_kg),
            limit=limit,
            unit="kg",
            source=BANDS_SOURCE,
            message=message if slip is None else f"{message}: {slip}",
        )
    ]


def _screen_in_date(facts: ScreenInput, weight_date: date) -> list[Finding]:
    birth_date = facts.patient.birth_date
    if weight_date > facts.today or weight_date < birth_date:
        message = "the weight is dated in the future or before birth"
        limit = f"{birth_date.isoformat()} to {facts.today.isoformat()}"
        return [_alert("weight-date", Severity.BLOCK, "patient.weight", message, weight_date.isoformat(), limit)]
    print_date = max(facts.print_start_date, birth_date)
    valid_days = weight_valid_days(age_on(birth_date, print_date))
    old_days = (print_date - weight_date).days
    if old_days <= valid_days:
        return []
    return [
        Finding(
            rule="weight-out-of-date",
            severity=Severity.BLOCK if _weight_matters(facts) else Severity.REASON,
            field="patient.weight",
            value=str(old_days),
            limit=str(valid_days),
            unit="day",
            source=VALIDITY_SOURCE,
            message=f"the weight will be {old_days} days old when printing starts; at this age it holds "
            f"{valid_days} days",
        )
    ]


def screen_allergies(facts: ScreenInput) -> list[Finding]:
    """Tell none, listed and not recorded apart, and never pass over an entry that matched nothing."""
    allergies = facts.patient.allergies
    if allergies.status == "not recorded":
        message = "allergies are not recorded; that is not the same as none"
        return [_alert("allergies-not-recorded", Severity.REASON, "patient.allergies", message)]
    if (allergies.status == "listed") != bool(allergies.entries):
        message = "the allergies stated and the entries contradict each other"
        return [_alert("allergies-contradict", Severity.BLOCK, "patient.allergies", message, allergies.status)]
    return [found for entry in allergies.entries for found in _screen_entry(entry, facts.substance)]


def _screen_entry(entry: AllergyEntry, substance: SubstanceFacts) -> list[Finding]:
    names = {_folded(name) for name in (substance.name, *substance.names)}
    if _folded(entry.substance or "") in names or _named_in(_folded(entry.text), names):
        message = f'the allergy "{entry.text}" matches what is ordered'
        return [_alert("allergy-match", Severity.BLOCK, "patient.allergies", message, entry.text)]
    if entry.substance is None:
        message = f'the allergy "{entry.text}" matches no known substance: a person must judge it'
        return [_alert("allergy-unmatched", Severity.REASON, "patient.allergies", message, entry.text)]
    return []


def _named_in(text: str, names: set[str]) -> bool:
    if any(name in text for name in names):
        return True
    return len(text) >= _SHORTEST_NAME and any(text in name for name in names)


def _folded(text: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())


def screen_swallowing(facts: ScreenInput) -> list[Finding]:
    """Hold a solid dosage form against age, swallowing, feeding tube and stricture."""
    found = _screen_age(facts)
    swallowing = facts.patient.swallowing
    if swallowing == "not assessed":
        message = "nobody has assessed whether the patient can swallow the form"
        found.append(_alert("swallowing", Severity.REASON, "patient.swallowing", message, swallowing))
    elif swallowing != "solids" and not (swallowing == "mini-units only" and facts.mini_units):
        message = "the patient cannot swallow the form that would be made"
        found.append(_alert("swallowing", Severity.BLOCK, "patient.swallowing", message, swallowing))
    if facts.patient.feeding_tube:
        message = "printed forms are not for feeding tubes"
        found.append(_alert("feeding-tube", Severity.BLOCK, "patient.feeding_tube", message))
    if facts.patient.stricture:
        message = "a solid form that swells may lodge in a stricture"
        found.append(_alert("stricture", Severity.BLOCK, "patient.stricture", message))
    return found


def _screen_age(facts: ScreenInput) -> list[Finding]:
    months = facts.age_at_start.months
    place, value = "patient.birth_date", str(months)
    if months < 6:
        message = "no solid dosage form under 6 months"
        return [_alert("age-no-solid", Severity.BLOCK, place, message, value, "6", "month")]
    if months < 24:
        severity = Severity.REASON if facts.mini_units else Severity.BLOCK
        message = "from 6 to 24 months mini-units only, and with a reason"
        return [_alert("age-mini-units", severity, place, message, value, "24", "month")]
    if months < 72:
        message = "under 6 years: choking hazard, see that the child can take the form"
        return [_alert("age-choking", Severity.INFORM, place, message, value, "72", "month")]
    return []


def screen_pregnancy(facts: ScreenInput) -> list[Finding]:
    """Block a hazardous substance where pregnancy is possible, and ask where nobody said."""
    possible, hazardous = facts.patient.pregnancy_possible, facts.substance.hazardous
    place = "patient.pregnancy_possible"
    if possible:
        severity = Severity.BLOCK if hazardous else Severity.INFORM
        message = "pregnancy is possible" + (" and the substance is hazardous" if hazardous else "")
        return [_alert("pregnancy", severity, place, message)]
    first, last = FERTILE_YEARS
    at_risk = facts.patient.sex != "male" and first <= facts.age_at_start.years <= last
    if possible is None and hazardous and at_risk:
        message = "the substance is hazardous and nobody said whether pregnancy is possible"
        return [_alert("pregnancy", Severity.REASON, place, message)]
    return []


def screen_substance(facts: ScreenInput) -> list[Finding]:
    """Hold the substance's flags against timing and the site's switches."""
    substance, site = facts.substance, facts.site
    found = _screen_weekly(facts) if substance.weekly_only else []
    for flag, is_set, is_on in (
        ("controlled", substance.controlled, site.controlled_on),
        ("hazardous", substance.hazardous, site.hazardous_on),
    ):
        if is_set and not is_on:
            message = f"the site has not switched its function for {flag} substances on"
            found.append(_alert(f"{flag}-off", Severity.BLOCK, "substance", message, substance.name))
    if substance.narrow_index:
        message = "narrow therapeutic index: tighter limits hold"
        found.append(_alert("narrow-index", Severity.INFORM, "substance", message, substance.name))
    return found


def _screen_weekly(facts: ScreenInput) -> list[Finding]:
    per_day = Counter(one.on_date for one in facts.administrations)
    days = sorted(set(per_day) | set(facts.other_daily_mg))
    same_day = max(per_day.values()) > 1 or bool(set(per_day) & set(facts.other_daily_mg))
    gaps = ((later - earlier).days for earlier, later in pairwise(days))
    closest = 0 if same_day else min(gaps, default=7)
    if closest >= 7:
        return []
    message = "this substance is for one dose a week only: daily for weekly is deadly"
    return [_alert("weekly-only", Severity.BLOCK, "regimen", message, str(closest), "7", "day")]


def screen_form(facts: ScreenInput) -> list[Finding]:
    """Hold the release class and the route that are ordered against what is made."""
    found = []
    if facts.release_made is not None and facts.release_made != facts.release_ordered:
        message = f"{facts.release_ordered} release is ordered, {facts.release_made} release would be made"
        found.append(
            _alert("release-class", Severity.BLOCK, "release", message, facts.release_made, facts.release_ordered)
        )
    if facts.route != "oral":
        message = "only forms to be swallowed are made"
        found.append(_alert("route", Severity.BLOCK, "route", message, facts.route, "oral"))
    return found


def screen_duplicates(facts: ScreenInput) -> list[Finding]:
    """Name every other active order of the same moiety."""
    message = "another order of the same substance is active"
    return [_alert("duplicate-order", Severity.REASON, "substance", message, code) for code in facts.other_orders]


RULES: Final[tuple[Callable[[ScreenInput], list[Finding]], ...]] = (
    screen_dates,
    screen_limits,
    screen_weight,
    screen_allergies,
    screen_swallowing,
    screen_pregnancy,
    screen_substance,
    screen_form,
    screen_duplicates,
)


def _alert(
    rule: str,
    severity: Severity,
    place: str,
    message: str,
    value: str | None = None,
    limit: str | None = None,
    unit: str | None = None,
) -> Finding:
    return Finding(
        rule=rule,
        severity=severity,
        field=place,
        message=message,
        source=HOUSE,
        value=value,
        limit=limit,
        unit=unit,
    )
