"""Finds every door and look of the house, and answers which of them belong to a kind of record."""

from __future__ import annotations

from importlib import import_module

from django.utils.module_loading import module_has_submodule

from dosewright.ground.pure.codes import parse
from dosewright.ground.pure.errors import BadInput
from dosewright.ground.rest import DOORS, LOOKS, Door, Look

APPS = ("prescriptions", "printing.formulary", "printing.stock", "printing.plates", "printing.runs", "labels")
OWN = ("audit", "documents", "people", "tokens")
SUBJECT_OF_KIND = {"print batch": "batch"}
"""Kinds of code whose word in addresses is another than the kind with hyphens for blanks."""


def load() -> None:
    """Import the module `api` of every app that has one, and the roof's own; importing registers."""
    for name in APPS:
        if module_has_submodule(import_module(name), "api"):
            import_module(f"{name}.api")
    for name in OWN:
        import_module(f"dosewright.roof.api.{name}")


def subjects() -> list[str]:
    """Return the word in addresses of every kind of record that has a door or a look."""
    return sorted({one.subject for one in DOORS.values()} | set(LOOKS))


def doors_on(subject: str) -> list[type[Door]]:
    """Return the doors that act on one record of `subject`, in the order of their registration."""
    return [one for one in DOORS.values() if one.subject == subject and not one.creates]


def doors_making(subject: str) -> list[type[Door]]:
    """Return the doors that make a record of `subject`."""
    return [one for one in DOORS.values() if one.subject == subject and one.creates]


def door_at(subject: str, verb: str, *, creates: bool) -> type[Door] | None:
    """Return the door of an address, if there is one."""
    return DOORS.get(f"{subject}+{verb}" if creates else f"{subject}/{verb}")


def look_at(subject: str) -> type[Look] | None:
    """Return the look of a kind of record, if it has one."""
    return LOOKS.get(subject)


def shows_one(look: type[Look] | None) -> bool:
    """Tell whether a look shows single records."""
    return look is not None and look.one is not Look.one


def shows_page(look: type[Look] | None) -> bool:
    """Tell whether a look shows lists."""
    return look is not None and look.page is not Look.page


def subject_of(code: str) -> str | None:
    """Return the kind of record that a code names, as it stands in addresses; None when it is no code."""
    try:
        kind, _ = parse(code)
    except BadInput:
        return None
    return SUBJECT_OF_KIND.get(kind.name, kind.name.replace(" ", "-"))


def machine_of_subject(subject: str) -> str:
    """Return the name of the table of states that records of `subject` move by."""
    names = {word: kind for kind, word in SUBJECT_OF_KIND.items()}
    return names.get(subject, subject.replace("-", " "))
