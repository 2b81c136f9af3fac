"""Whether a person may go through a door now, and who else could: for buttons and for programs alike.

This decides nothing: the service asks the roles table again, with the people concerned, inside its
transaction. It only keeps doors out of sight that cannot open.
"""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from dosewright.ground.pure.roles import Actor, Role, Rule
from dosewright.ground.rest import Door
from dosewright.ground.transitions import MACHINES
from dosewright.roof.api.registry import machine_of_subject

WORDS = {
    Role.PRESCRIBER: gettext_lazy("a prescriber"),
    Role.TECHNICIAN: gettext_lazy("a technician"),
    Role.PHARMACIST: gettext_lazy("a pharmacist"),
    Role.AUDITOR: gettext_lazy("an auditor"),
    Role.SCIENTIST: gettext_lazy("a formulation scientist"),
    Role.MANAGER: gettext_lazy("a site manager"),
    Role.SYSTEM: gettext_lazy("the system"),
    Role.PRINTER: gettext_lazy("a printer"),
}


WHEN: dict[str, tuple[str, ...]] = {
    "resin_lot.weigh": ("weighing",),
    "resin_lot.check_weighing": ("weighing",),
    "resin_lot.test": ("mixed",),
    "alert.open": ("received", "queried"),
    "run.gate": ("ready",),
    "run.layer": ("printing",),
    "run.step": ("finishing",),
    "run.break_off": ("open",),
    "run.mass": ("open",),
    "run.content": ("open",),
    "pack.fill": ("packing",),
    "label.issue": ("packing",),
    "label.account": ("packing",),
    "pack.second_scan": ("packing",),
}
"""States in which an action that moves no state makes sense on its record; only for what pages offer."""


def has_role(actor: Actor, door: type[Door]) -> bool:
    """Say whether the actor holds a role that the door is for."""
    return actor.has(*door.rule().roles)


def fits_state(door: type[Door], state: str | None) -> bool:
    """Say whether a record in `state` can take what the door does; yes where the tables do not tell."""
    if state is None:
        return True
    needed = door.needs or WHEN.get(door.action)
    if needed:
        return state in needed
    machine = MACHINES.get(machine_of_subject(door.subject))
    events = [event for name, event in door.rule().events if machine is not None and name == machine.name]
    return not events or any((state, event) in machine.table for event in events) if machine else True


def who_could(rule: Rule) -> str:
    """Return in words who may do what the rule is of: "a pharmacist other than the prescriber"."""
    people = _(" or ").join(str(WORDS[role]) for role in Role if role in rule.roles)
    if rule.is_one_of:
        return _("%(people)s, the %(one)s of this record alone") % {"people": people, "one": rule.is_one_of}
    if rule.differs:
        others = _(" and the ").join(rule.differs)
        return _("%(people)s other than the %(others)s") % {"people": people, "others": others}
    return people


def state_of(record: Any) -> str | None:
    """Return the state of a record as its look tells it, if it has one."""
    state = record.get("state") if isinstance(record, dict) else getattr(record, "state", None)
    return None if state is None else str(state)
