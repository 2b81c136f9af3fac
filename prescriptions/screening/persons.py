"""Two patients who may be one, or may be taken for one another: by names and birth date. PURE."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from functools import cache

from prescriptions.findings import HOUSE, Finding, Severity
from prescriptions.screening.likeness import folded, letters_of, names_alike

SHOWN = 5
"""Most codes that one alert names; judgement, no source."""

FIRST_LETTERS = ("ckqgx", "fvwp", "sz", "ijy", "haeiou")
"""First letters that are heard for one another; who begins with none of them in common is not looked for."""


class Likeness(StrEnum):
    """How like two patients are."""

    DOUBLE = "the same names and birth date"
    SLIP = "like names and a like birth date"
    NAMESAKE = "like names and another birth date"


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Who a patient is, for comparing alone: names stand in no alert."""

    code: str
    family_name: str
    given_name: str
    birth_date: date


def likeness(one: Person, other: Person) -> Likeness | None:
    """Return how like two patients are, or None where nobody would take one for the other."""
    names = (folded(one.family_name), folded(one.given_name)), (folded(other.family_name), folded(other.given_name))
    if names[0] == names[1] and one.birth_date == other.birth_date:
        return Likeness.DOUBLE
    if not _names_alike(one, other):
        return None
    return Likeness.SLIP if other.birth_date in near_dates(one.birth_date) else Likeness.NAMESAKE


def near_dates(day: date) -> frozenset[date]:
    """Return the days that one slip makes of `day`: itself, a digit, two neighbours swapped, day and month swapped."""
    digits = day.strftime("%Y%m%d")
    texts = {digits, digits[:4] + digits[6:] + digits[4:6]}
    for place in range(len(digits)):
        texts |= {f"{digits[:place]}{figure}{digits[place + 1 :]}" for figure in "0123456789"}
        texts.add(f"{digits[:place]}{digits[place + 1 : place + 2]}{digits[place]}{digits[place + 2 :]}")
    return frozenset(found for text in texts if (found := _day(text)) is not None)


def first_letters(name: str) -> frozenset[str]:
    """Return the letters, small and capital, with and without accents, that a name like `name` may begin with."""
    first = letters_of(name)[:1]
    plain = frozenset(first).union(*(group for group in FIRST_LETTERS if first and first in group))
    return frozenset(one for letter in plain for one in _written().get(letter, {letter, letter.upper()}))


@cache
def _written() -> dict[str, set[str]]:
    """Return the ways in which each plain letter is written in the Latin alphabets of Europe."""
    found: dict[str, set[str]] = {}
    for one in (*map(chr, range(0x41, 0x7B)), *map(chr, range(0xC0, 0x250))):
        if plain := letters_of(one)[:1]:
            found.setdefault(plain, set()).add(one)
    return found


def screen_persons(patient: Person, others: Iterable[Person]) -> list[Finding]:
    """Name every patient who may be the same person, and those whose names are like, on an order for `patient`."""
    found = [(one.code, kind) for one in others if (kind := likeness(patient, one)) is not None]
    alerts = [_double(code, kind) for code, kind in sorted(found) if kind is not Likeness.NAMESAKE]
    namesakes = sorted(code for code, kind in found if kind is Likeness.NAMESAKE)
    return [*alerts, _namesakes(namesakes)] if namesakes else alerts


def _names_alike(one: Person, other: Person) -> bool:
    straight = names_alike(one.family_name, other.family_name) and names_alike(one.given_name, other.given_name)
    crossed = names_alike(one.family_name, other.given_name) and names_alike(one.given_name, other.family_name)
    return straight or crossed


def _day(text: str) -> date | None:
    try:
        return date(int(text[:4]), int(text[4:6]), int(text[6:]))
    except ValueError:
        return None


def _double(code: str, kind: Likeness) -> Finding:
    return Finding(
        rule="patient-double" if kind is Likeness.DOUBLE else "patient-look-alike",
        severity=Severity.REASON,
        field="patient.identifier",
        value=code,
        source=HOUSE,
        message=f"another patient has {kind}: one person on file twice, or two people",
    )


def _namesakes(codes: list[str]) -> Finding:
    more = f" and {len(codes) - SHOWN} more" if len(codes) > SHOWN else ""
    return Finding(
        rule="patient-namesake",
        severity=Severity.INFORM,
        field="patient.identifier",
        value=f"{', '.join(codes[:SHOWN])}{more}",
        source=HOUSE,
        message=f"patients with orders under way have {Likeness.NAMESAKE}: see that this order is for the right one",
    )
