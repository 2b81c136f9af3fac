"""Typed refusals: every one says what was wrong, where, against which limit and what is accepted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """One reason why something was not done.

    ``field`` names the input or record, ``value`` is what was found (as text), ``limit`` and ``unit``
    what it was held against, ``accepted`` what would be taken instead, ``rule`` a stable slug.
    """

    field: str
    message: str
    value: str | None = None
    limit: str | None = None
    unit: str | None = None
    accepted: str | None = None
    rule: str = "invalid"

    def as_dict(self) -> dict[str, Any]:
        """Return the refusal as the plain mapping that the commands and the REST API print."""
        return asdict(self)


class Refused(Exception):
    """Base of all refusals; carries at least one `Refusal`."""

    slug = "refused"

    def __init__(self, *refusals: Refusal) -> None:
        if not refusals:
            raise TypeError("a refusal names at least one reason")
        self.recorded = False
        self.refusals: tuple[Refusal, ...] = tuple(refusals)
        super().__init__("; ".join(f"{one.field}: {one.message}" for one in refusals))

    @classmethod
    def because(cls, field: str, message: str, **facts: str | None) -> Refused:
        """Build the refusal from one reason."""
        return cls(Refusal(field=field, message=message, **facts))  # type: ignore[arg-type]


class BadInput(Refused):
    """The input itself cannot be taken: malformed, out of range, unknown unit."""

    slug = "bad-input"


class NotAllowed(Refused):
    """The actor may not do this; the message says who could."""

    slug = "not-allowed"


class NotThere(Refused):
    """No such record, or none that the actor may see."""

    slug = "not-there"


class Conflict(Refused):
    """The record is in another state or version than the action expects."""

    slug = "conflict"


class Overtaken(Conflict):
    """Another action was quicker: what this one was about to add is there already."""


class Blocked(Refused):
    """A gate, blocker or screening finding stands in the way."""

    slug = "blocked"


class SetupMissing(Refused):
    """Something the installation needs is not there."""

    slug = "set-up-missing"


def refuse_if_any(kind: type[Refused], refusals: Sequence[Refusal]) -> None:
    """Raise `kind` with all `refusals` when there is at least one."""
    if refusals:
        raise kind(*refusals)
