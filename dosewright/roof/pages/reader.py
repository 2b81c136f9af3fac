"""Whose eyes a page is drawn for: a code leads only where its reader may go."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from dosewright.ground.pure.roles import READS, Actor
from dosewright.roof.api.registry import look_at, shows_one

_READER: ContextVar[Actor | None] = ContextVar("reader", default=None)


@contextmanager
def reading(actor: Actor) -> Iterator[None]:
    """Draw everything inside for `actor`."""
    token = _READER.set(actor)
    try:
        yield
    finally:
        _READER.reset(token)


def may_open(subject: str) -> bool:
    """Tell whether the reader may open records of a kind; everything outside of a page."""
    actor, look = _READER.get(), look_at(subject)
    return actor is None or look is None or not shows_one(look) or actor.has(*READS[look.reads])
