"""The list page and the page of one record, for every kind of record that has a look."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from dosewright.ground.pure.roles import READS, Actor
from dosewright.ground.rest import Door
from dosewright.roof import clock
from dosewright.roof.api import registry
from dosewright.roof.api.authentication import actor_on_page
from dosewright.roof.api.look_views import page_asked
from dosewright.roof.api.rights import fits_state, has_role, state_of, who_could
from dosewright.roof.api.tracing import is_traced
from dosewright.roof.pages.facts import Table, linked, section_of, table_of
from dosewright.roof.pages.layouts import Layout, extra_for, layout_of
from dosewright.roof.pages.notation import label_of, plain_mapping
from dosewright.roof.pages.signed_in import signed_in

LEADING = ("code", "state", "version", "blockers")


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One door as a page offers it: open to this person now, or with who could take it."""

    title: str
    verb: str
    hint: str
    address: str
    signed: bool
    who: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ways:
    """The doors of a record: open now, for others, and not in this state."""

    open: list[Way]
    others: list[Way]
    later: list[Way]


@signed_in
@require_safe
def many(request: HttpRequest, subject: str) -> HttpResponse:
    """Show a page of the records of one kind, with filters."""
    look = registry.look_at(subject)
    if look is None or not registry.shows_page(look):
        raise Http404
    actor, at = actor_on_page(request), clock.now()
    query = {name: value for name, value in request.GET.items() if value}
    asked = page_asked(query, look)
    page = look().page(actor, at=at, **asked)
    more = {**query, "after": page.next_after}
    context = {
        "title": title_of(subject),
        "subject": subject,
        "table": list_table(subject, page.items),
        "filters": [(name, label_of(name), query.get(name, "")) for name in look.filters],
        "next": f"?{urlencode(more)}" if page.next_after else "",
        "start": f"?{urlencode({k: v for k, v in query.items() if k != 'after'})}" if "after" in query else "",
        "making": [way_to(door, "") for door in registry.doors_making(subject) if has_role(actor, door)],
        "here": subject,
    }
    return render(request, [f"list/{subject}.html", "list.html"], context)


def _columns(subject: str, items: Any) -> tuple[str, ...]:
    layout = layout_of(subject)
    return tuple(one for one in layout.columns if items and one in plain_mapping(items[0])) or ()


def list_table(subject: str, records: Any) -> Table:
    """Return records of one kind as a list, each with the way to its page where it has one."""
    table = table_of(records, columns=_columns(subject, records))
    return linked(table, subject) if registry.shows_one(registry.look_at(subject)) else table


@signed_in
@require_safe
def one(request: HttpRequest, subject: str, code: str) -> HttpResponse:
    """Show one record and every door that leads on from it."""
    actor, at = actor_on_page(request), clock.now()
    record = seen(actor, subject, code, at=at)
    if record is None and not registry.doors_on(subject):
        raise Http404
    layout = layout_of(subject)
    ways = ways_from(actor, subject, code, record, back=request.GET.get("back", ""))
    context = {
        **facts_of(record, layout),
        "title": title_of(subject),
        "subject": subject,
        "code": code,
        "record": record,
        "state": state_of(record),
        "ways": ways,
        "verbs": {way.verb for way in ways.open},
        "here": subject,
        "may_trace": actor.has(*READS["trace"]) and is_traced(code),
        "is_listed": registry.shows_page(registry.look_at(subject)),
        **extra_for(subject, actor, record, at=at),
    }
    return render(request, template_of(subject), context)


def title_of(subject: str) -> str:
    """Return what records of a kind are called above a page."""
    look = registry.look_at(subject)
    return str(look.title) if look else label_of(subject.replace("-", "_"))


def seen(actor: Actor, subject: str, code: str, *, at: datetime) -> Any:
    """Return the record as its look shows it to the actor; None for a kind that has no look."""
    look = registry.look_at(subject)
    return None if look is None or not registry.shows_one(look) else look().one(actor, code, at=at)


def facts_of(record: Any, layout: Layout) -> dict[str, Any]:
    """Return headline and sections of a record by its layout."""
    if record is None:
        return {"headline": None, "section": None, "open_parts": [], "folded_parts": []}
    values = plain_mapping(record)
    head = {name: values[name] for name in layout.headline if name in values}
    hidden = (*LEADING, *layout.headline, *layout.hidden)
    order = [*(name for name in layout.first if name in values), *(name for name in values if name not in layout.first)]
    rest = {name: values[name] for name in order}
    whole = section_of(rest, hidden=hidden, columns=layout.tables)
    return {
        "headline": section_of(head),
        "section": whole,
        "open_parts": [part for part in whole.parts if part.name not in layout.folded],
        "folded_parts": [part for part in whole.parts if part.name in layout.folded],
    }


def ways_from(actor: Actor, subject: str, code: str, record: Any, *, back: str = "") -> Ways:
    """Return the doors of a record, sorted by whether the actor may take them now."""
    ways = Ways(open=[], others=[], later=[])
    for door in registry.doors_on(subject):
        way = way_to(door, code, back=back)
        if not fits_state(door, state_of(record)):
            ways.later.append(way)
        elif has_role(actor, door):
            ways.open.append(way)
        else:
            ways.others.append(way)
    return ways


def way_to(door: type[Door], code: str, *, back: str = "") -> Way:
    """Return the way to a door's form."""
    base = f"/{door.subject}/new" if door.creates else f"/{door.subject}/{code}"
    address = f"{base}/{door.verb}" if door.verb else base
    query = f"?{urlencode({'back': back})}" if back else ""
    return Way(
        title=str(door.title),
        verb=door.verb,
        hint=str(door.hint),
        address=f"{address}{query}",
        signed=door.rule().signed,
        who=who_could(door.rule()),
    )


def template_of(subject: str) -> list[str]:
    """Return the templates to try for a record's page: the hand-made one, then the plain one."""
    return [f"record/{subject}.html", "record.html"]
