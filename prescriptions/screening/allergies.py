"""Allergies: none, listed and not recorded are three things, and no entry is passed over.

An entry is matched by the names on file alone (of the substance, its synonyms and forms, and of the site's other
substances). Classes ("corticosteroids") are never guessed: such an entry matches nothing and a person judges it.
"""

from __future__ import annotations

from typing import Final

from prescriptions.findings import Finding, Severity, alert
from prescriptions.screen_facts import AllergyEntry, ScreenInput, SubstanceFacts
from prescriptions.screening.likeness import folded, substances_alike

SHORTEST_NAME: Final = 4
"""Shortest text that is looked for inside a name [characters]; judgement, no source."""

PLACE: Final = "patient.allergies"


def screen_allergies(facts: ScreenInput) -> list[Finding]:
    """Tell none, listed and not recorded apart, and never pass over an entry that matched nothing."""
    allergies = facts.patient.allergies
    if allergies.status == "not recorded":
        message = "allergies are not recorded; that is not the same as none"
        return [alert("allergies-not-recorded", Severity.REASON, PLACE, message, allergies.status)]
    if (allergies.status == "listed") != bool(allergies.entries):
        message = "the allergies stated and the entries contradict each other"
        return [alert("allergies-contradict", Severity.BLOCK, PLACE, message, allergies.status)]
    return [found for entry in allergies.entries for found in _screen_entry(entry, facts.substance)]


def named_in(text: str, names: set[str]) -> bool:
    """Say whether a folded text names one of the folded `names`, or a part of one that is long enough."""
    if any(name in text for name in names):
        return True
    return len(text) >= SHORTEST_NAME and any(text in name for name in names)


def _screen_entry(entry: AllergyEntry, substance: SubstanceFacts) -> list[Finding]:
    names = {folded(name) for name in (substance.name, *substance.names)}
    text, matched = folded(entry.text), folded(entry.substance or "")
    if matched in names or named_in(text, names):
        message = f'the allergy "{entry.text}" matches what is ordered'
        return [alert("allergy-match", Severity.BLOCK, PLACE, message, entry.text)]
    if entry.substance is not None:
        return []
    like = sorted(name for name in names if any(substances_alike(word, name) for word in text.split()))
    hint = f"; it is spelt like {like[0]}" if like else ""
    message = f'the allergy "{entry.text}" matches no known substance: a person must judge it{hint}'
    return [alert("allergy-unmatched", Severity.REASON, PLACE, message, entry.text)]
