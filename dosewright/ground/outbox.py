"""Facts for the house on the right: written with the change, handled exactly once by each handler.

`emit` writes the fact and one `Work` row per registered handler, keyed by fact and handler; the row's
claim and fence then make the handler's effect happen once.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, TypeVar

from dosewright.ground.models import Outbox, Work
from dosewright.ground.pure.canonical import canonical_text

Handler = TypeVar("Handler", bound=Callable[..., Any])

HANDLERS: dict[str, dict[str, Callable[..., Any]]] = {}


def on(fact: str) -> Callable[[Handler], Handler]:
    """Register the decorated function as a handler of `fact`; it is called as a work handler is."""

    def register(function: Handler) -> Handler:
        name = f"{function.__module__}.{function.__qualname__}"
        HANDLERS.setdefault(fact, {})[name] = function
        return function

    return register


def emit(*, site_id: int, fact: str, payload: Mapping[str, Any], at: datetime) -> Outbox:
    """Write `fact` and the work of its handlers in the transaction that is open."""
    text = canonical_text(payload)
    row = Outbox.objects.create(site_id=site_id, fact=fact, payload=text, at=at)
    for name in sorted(HANDLERS.get(fact, {})):
        Work.objects.create(
            site_id=site_id,
            kind=f"fact:{fact}:{name}",
            key=f"fact:{row.pk}:{name}",
            payload=text,
            created_at=at,
            due_at=at,
        )
    return row


def handler_of(kind: str) -> Callable[..., Any]:
    """Return the handler that a ``fact:`` piece of work names; KeyError when it is not registered."""
    _, fact, name = kind.split(":", 2)
    return HANDLERS[fact][name]
