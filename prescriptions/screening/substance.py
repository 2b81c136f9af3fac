"""The substance's flags against timing and site, names it is mistaken for, and a slip against the order before."""

from __future__ import annotations

from collections import Counter
from datetime import date
from decimal import Decimal
from itertools import pairwise
from typing import Final

from dosewright.ground.pure.canonical import decimal_text
from prescriptions.findings import Finding, Severity, alert
from prescriptions.screen_facts import EarlierOrder, ScreenInput

WEEK_DAYS: Final = 7
SLIP_FACTORS: Final = (10, 100, 1000)
SLIP_NEARNESS: Final = Decimal("0.2")
"""How near to a power of ten the change against the order before must be to be named [fraction]; judgement."""


def screen_substance(facts: ScreenInput) -> list[Finding]:
    """Hold the substance's flags against timing and the site's switches, and look for what it is mistaken for."""
    substance, site = facts.substance, facts.site
    found = _screen_weekly(facts) if substance.weekly_only else []
    for flag, is_set, is_on in (
        ("controlled", substance.controlled, site.controlled_on),
        ("hazardous", substance.hazardous, site.hazardous_on),
    ):
        if is_set and not is_on:
            message = f"the site has not switched its function for {flag} substances on"
            found.append(alert(f"{flag}-off", Severity.BLOCK, "substance", message, substance.name))
    if substance.narrow_index:
        message = "narrow therapeutic index: tighter limits hold"
        found.append(alert("narrow-index", Severity.INFORM, "substance", message, substance.name))
    return [*found, *_screen_look_alikes(facts), *_screen_earlier(facts)]


def _screen_weekly(facts: ScreenInput) -> list[Finding]:
    """One dose a week on one day of the week: any other timing is taken for a slip that kills."""
    own = Counter(one.on_date for one in facts.administrations)
    if any(isinstance(one.at, int) for one in facts.administrations):
        return [_not_weekly("this substance is for one dose a week only, never as needed", "as needed")]
    days = sorted(set(own) | set(facts.other_daily_mg))
    same_day = max(own.values()) > 1 or bool(set(own) & set(facts.other_daily_mg))
    closest = 0 if same_day else min(_gaps(days), default=WEEK_DAYS)
    if closest < WEEK_DAYS:
        message = "this substance is for one dose a week only: daily for weekly is deadly"
        return [_not_weekly(message, str(closest))]
    odd = [gap for gap in _gaps(sorted(own)) if gap % WEEK_DAYS]
    if odd:
        message = "this substance is for one dose a week only, always on the same day of the week"
        return [_not_weekly(message, str(odd[0]))]
    longer = [gap for gap in _gaps(sorted(own)) if gap > WEEK_DAYS]
    if longer:
        message = "more than a week lies between two doses: is a week left out on purpose?"
        value, limit = str(max(longer)), str(WEEK_DAYS)
        return [alert("weekly-only", Severity.REASON, "regimen", message, value, limit, "day")]
    return []


def _gaps(days: list[date]) -> list[int]:
    return [(later - earlier).days for earlier, later in pairwise(days)]


def _not_weekly(message: str, value: str) -> Finding:
    return alert("weekly-only", Severity.BLOCK, "regimen", message, value, str(WEEK_DAYS), "day")


def _screen_look_alikes(facts: ScreenInput) -> list[Finding]:
    if not facts.substance.look_alikes:
        return []
    value = ", ".join(facts.substance.look_alikes)
    message = (
        f"the name looks or sounds like {value}, which this site has too: see that {facts.substance.name} is meant"
    )
    return [alert("look-alike-substance", Severity.INFORM, "substance", message, value)]


def _screen_earlier(facts: ScreenInput) -> list[Finding]:
    """A slip of a power of ten that stays inside the limits shows only against what the patient took before."""
    before = facts.earlier
    if before is None:
        return []
    now_mg = max(facts.own_daily_mg.values())
    less, more = sorted((now_mg, before.highest_daily_mg))
    for factor in SLIP_FACTORS:
        if abs(more / less - factor) <= SLIP_NEARNESS * factor:
            return [_slip(before, now_mg, factor)]
    return []


def _slip(before: EarlierOrder, now_mg: Decimal, factor: int) -> Finding:
    before_mg = before.highest_daily_mg
    what = f"about {factor} times what" if now_mg > before_mg else f"about a {factor}th of what"
    message = f"{decimal_text(now_mg)} mg a day is {what} order {before.order} gave: a slip of a digit or a unit?"
    value, limit = decimal_text(now_mg), decimal_text(before_mg)
    return alert("slip-against-earlier", Severity.REASON, "regimen", message, value, limit, "mg per day")
