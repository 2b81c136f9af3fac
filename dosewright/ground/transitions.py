"""`advance()` is the only way in which a state column changes.

Each app registers its tables of states here; what is not in a table cannot happen.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import models
from django.db.models import F

from dosewright.ground.pure.errors import Conflict, Refusal
from dosewright.ground.pure.roles import rule_for

if TYPE_CHECKING:
    from dosewright.ground.act import Act

Table = Mapping[tuple[str, str], str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """A table of states for one model: ``{(state, event): next}``, where it starts, and its column."""

    name: str
    initial: str
    table: Table
    model: str
    field: str = "state"


MACHINES: dict[str, Machine] = {}


def register(machine: Machine) -> Machine:
    """Make a machine known; a second one of the same name is an error."""
    if machine.name in MACHINES:
        raise ValueError(f"machine {machine.name} is registered twice")
    MACHINES[machine.name] = machine
    return machine


def machine_of(row: models.Model) -> Machine:
    """Return the machine that moves `row`."""
    label = row._meta.label
    for machine in MACHINES.values():
        if machine.model == label:
            return machine
    raise KeyError(f"{label} has no table of states")


def advance(act: Act, row: models.Model, event: str, *, version: int | None = None) -> str:
    """Fire `event` on `row` within `act` and return the new state.

    The action of `act` must be allowed to fire the event by the roles table. The UPDATE holds the old
    state and version in its WHERE; a row that moved meanwhile, a `version` that is not the row's, or an
    event its state does not know raises Conflict and changes nothing.
    """
    machine = machine_of(row)
    if (machine.name, event) not in rule_for(act.action).events:
        raise PermissionError(f"{act.action} may not fire {event!r} on a {machine.name}")
    old = str(getattr(row, machine.field))
    following = machine.table.get((old, event))
    if following is None:
        raise Conflict(_cannot(machine, row, old, event))
    known: int = version if version is not None else row.version  # type: ignore[attr-defined]
    changed = (
        type(row)
        ._default_manager.filter(pk=row.pk, version=known, **{machine.field: old})
        .update(**{machine.field: following, "version": F("version") + 1})
    )
    if changed != 1:
        raise Conflict(_moved(machine, row, known))
    setattr(row, machine.field, following)
    row.version = known + 1  # type: ignore[attr-defined]
    act.changed(machine.name, _code(row), event=event, old=old, new=following)
    return following


def advance_all(act: Act, rows: Sequence[models.Model], event: str) -> None:
    """Fire `event` on every one of `rows` (of one model) within `act`, or on none of them.

    Raises Conflict naming the first row whose state does not know the event, or when any row moved meanwhile.
    """
    if not rows:
        return
    machine = machine_of(rows[0])
    if (machine.name, event) not in rule_for(act.action).events:
        raise PermissionError(f"{act.action} may not fire {event!r} on a {machine.name}")
    by_state: dict[str, list[models.Model]] = {}
    for row in rows:
        by_state.setdefault(str(getattr(row, machine.field)), []).append(row)
    for old, group in sorted(by_state.items()):
        following = machine.table.get((old, event))
        if following is None:
            raise Conflict(_cannot(machine, group[0], old, event))
        _move_group(act, machine, group, event=event, old=old, new=following)


def _move_group(act: Act, machine: Machine, group: Sequence[models.Model], *, event: str, old: str, new: str) -> None:
    moved = (
        type(group[0])
        ._default_manager.filter(pk__in=[row.pk for row in group], **{machine.field: old})
        .update(**{machine.field: new, "version": F("version") + 1})
    )
    if moved != len(group):
        raise Conflict(
            Refusal(
                field=machine.name,
                value=f"{len(group) - moved} of {len(group)}",
                message=f"are no longer {old}",
                accepted="look again and repeat",
                rule="version",
            )
        )
    for row in group:
        setattr(row, machine.field, new)
        row.version += 1  # type: ignore[attr-defined]
        act.changed(machine.name, _code(row), event=event, old=old, new=new)


def change(
    act: Act,
    row: models.Model,
    *,
    version: int | None = None,
    where: dict[str, Any] | None = None,
    **values: Any,
) -> None:
    """Write `values` of a mutable row by conditional UPDATE on its version; state columns are refused.

    Raises Conflict when the row moved meanwhile. The old and new values go into the action's audit row.
    """
    for machine in MACHINES.values():
        if machine.model == row._meta.label and machine.field in values:
            raise PermissionError(f"the state of a {machine.name} changes by advance() alone")
    known: int = version if version is not None else row.version  # type: ignore[attr-defined]
    changed = (
        type(row)
        ._default_manager.filter(pk=row.pk, version=known, **(where or {}))
        .update(**values, version=F("version") + 1)
    )
    if changed != 1:
        raise Conflict(
            Refusal(
                field=_code(row),
                value=f"version {known}",
                message="the record changed meanwhile",
                accepted="look at it again and repeat",
                rule="version",
            )
        )
    for name, value in values.items():
        act.wrote(_code(row), name, old=getattr(row, name), new=value)
        setattr(row, name, value)
    row.version = known + 1  # type: ignore[attr-defined]


def _code(row: models.Model) -> str:
    return str(getattr(row, "code", row.pk))


def _cannot(machine: Machine, row: models.Model, old: str, event: str) -> Refusal:
    possible = sorted(name for state, name in machine.table if state == old)
    return Refusal(
        field=_code(row),
        value=old,
        message=f"{_a(machine.name)} that is {old} cannot {event}",
        accepted=", ".join(possible) or "nothing: this is an end state",
        rule="state",
    )


def _a(name: str) -> str:
    return f"{'an' if name[0] in 'aeiou' else 'a'} {name}"


def _moved(machine: Machine, row: models.Model, known: int) -> Refusal:
    now = type(row)._default_manager.filter(pk=row.pk).values_list(machine.field, "version").first()
    found = f"{now[0]}, version {now[1]}" if now else "gone"
    return Refusal(
        field=_code(row),
        value=f"version {known}",
        message=f"the {machine.name} changed meanwhile and is {found}",
        accepted="look at it again and repeat",
        rule="version",
    )
