"""How the pages of each kind of record are laid out: which values lead, which columns a list has.

What a layout does not name is still shown, after what it names. To give a kind of record a hand-made page,
add a template ``record/<subject>.html`` that extends ``record.html``; to give it more to draw, add a function
to `EXTRAS`, which gets the actor, the record and the time and returns more context.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from dosewright.ground.pure.roles import Actor

Extra = Callable[[Actor, Any, datetime], Mapping[str, Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """The order in which one kind of record is shown."""

    headline: tuple[str, ...] = ()
    columns: tuple[str, ...] = ()
    first: tuple[str, ...] = ()
    hidden: tuple[str, ...] = ()


PLAIN = Layout()

LAYOUTS: dict[str, Layout] = {
    "audit": Layout(columns=("code", "at", "actor", "action", "outcome", "subject", "reason")),
    "document": Layout(headline=("kind", "number", "subject", "made_at")),
    "person": Layout(headline=("printed_name", "profession", "registration", "active")),
}

EXTRAS: dict[str, Extra] = {}


def layout_of(subject: str) -> Layout:
    """Return the layout of a kind of record."""
    return LAYOUTS.get(subject, PLAIN)


def extra_for(subject: str, actor: Actor, record: Any, *, at: datetime) -> Mapping[str, Any]:
    """Return what the hand-made page of a kind of record draws besides the record itself."""
    extra = EXTRAS.get(subject)
    return extra(actor, record, at) if extra and record is not None else {}
