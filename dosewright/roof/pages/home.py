"""Home: what waits for me, by the roles I hold; and the search that takes any code."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from dosewright.ground.left_undone import left_undone
from dosewright.ground.pure.codes import parse
from dosewright.ground.pure.roles import READS, Actor, Role
from dosewright.ground.rest import DOORS, LOOKS
from dosewright.roof import clock
from dosewright.roof.api import registry
from dosewright.roof.api.authentication import actor_on_page
from dosewright.roof.pages.facts import Table
from dosewright.roof.pages.notation import address_of
from dosewright.roof.pages.records import Way, list_table, way_to
from dosewright.roof.pages.signed_in import signed_in
from prescriptions.queries import line_facts
from printing.plates.queries import unit_zone

MOST = 8
"""Rows of one queue on the home page before "all of them": our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Queue:
    """One list of what waits: whose, of what, in which state, and why it waits."""

    role: Role
    subject: str
    filters: dict[str, str]
    title: Any
    why: Any


def _queue(role: Role, subject: str, state: str, title: Any, why: Any) -> Queue:
    return Queue(role=role, subject=subject, filters={"state": state} if state else {}, title=title, why=why)


RX, P, T, SC = Role.PHARMACIST, Role.PRESCRIBER, Role.TECHNICIAN, Role.SCIENTIST
QUEUES = (
    _queue(P, "order", "waiting", _("Orders to sign"), _("They came in without a signature and wait for one.")),
    _queue(P, "order", "queried", _("Questions from the pharmacist"), _("An answer is needed before they go on.")),
    _queue(P, "order", "returned", _("Returned orders"), _("They go on when you send them again.")),
    _queue(P, "order", "received", _("Orders in the clinical check"), _("Nothing is asked of you.")),
    _queue(RX, "order", "received", _("Orders to check"), _("They wait for the clinical check.")),
    _queue(RX, "order", "waiting", _("Orders without a signature"), _("Attest those whose original you have seen.")),
    _queue(RX, "deviation", "open", _("Open deviations"), _("They hold what they concern until they are closed.")),
    _queue(RX, "zone", "passed", _("Zones to approve"), _("Tested and passed; packing waits for your approval.")),
    _queue(RX, "pack", "packed", _("Packs to release"), _("Packed and scanned twice; they wait for release.")),
    _queue(RX, "resin-lot", "tested", _("Resin lots to approve"), _("Tests before use are complete.")),
    _queue(RX, "ingredient-lot", "quarantined", _("Ingredient lots to approve"), _("Received, in quarantine.")),
    _queue(RX, "formulation", "in review", _("Formulations in review"), _("Two signatures validate a version.")),
    _queue(T, "batch", "planned", _("Batches to approve"), _("Planned; check the plate map, then approve.")),
    _queue(T, "batch", "ready", _("Batches to start"), _("The plate file is at the printer; gates come first.")),
    _queue(T, "batch", "printing", _("Batches that are printing"), _("Layer and time left stand on the batch.")),
    _queue(T, "batch", "printed", _("Plates to take off"), _("Count each zone as it comes off the printer.")),
    _queue(T, "batch", "finishing", _("Batches in finishing"), _("Wash, dry, cure.")),
    _queue(T, "batch", "testing", _("Batches to weigh and test"), _("One zone at a time.")),
    _queue(T, "zone", "approved to pack", _("Zones to pack"), _("Approved by a pharmacist.")),
    _queue(T, "pack", "packing", _("Packs begun"), _("They wait for contents, label or second scan.")),
    _queue(T, "pack", "released", _("Packs to hand over"), _("Released; they wait for supply.")),
    _queue(T, "resin-lot", "weighing", _("Resin lots being weighed"), _("Each weight takes a second person.")),
    _queue(T, "resin-lot", "mixed", _("Resin lots to test"), _("Nothing is printed with an untested lot.")),
    _queue(SC, "formulation", "draft", _("Drafts"), _("They can never reach a patient.")),
    _queue(SC, "formulation", "in review", _("Formulations in review"), _("Two signatures validate a version.")),
    _queue(SC, "formulation", "validated", _("Validated formulations"), ""),
    _queue(Role.MANAGER, "person", "", _("People"), _("Roles are given by name.")),
    _queue(Role.MANAGER, "printer", "", _("Printers"), _("With the dates of their next checks.")),
    _queue(Role.MANAGER, "equipment", "", _("Equipment"), _("With the dates of their next checks.")),
    _queue(Role.AUDITOR, "audit", "", _("Newest entries of the audit trail"), _("Newest first.")),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One queue as the page shows it."""

    title: Any
    why: Any
    subject: str
    table: Table
    count: str
    address: str


@signed_in
@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """Show what waits for the person, fullest queues in the order of the work."""
    actor, at = actor_on_page(request), clock.now()
    shown = [_shown(queue, actor, at) for queue in _mine(actor)]
    return render(
        request,
        "home.html",
        {
            "queues": [one for one in shown if one.table.rows],
            "empty": [one for one in shown if not one.table.rows],
            "begin": begin(actor),
            "here": "home",
            "undone": left_undone(now=at, site_id=actor.site_id),
        },
    )


def _mine(actor: Actor) -> list[Queue]:
    return [queue for queue in QUEUES if actor.has(queue.role) and _can_show(queue, actor)]


def _can_show(queue: Queue, actor: Actor) -> bool:
    look = registry.look_at(queue.subject)
    if look is None or not registry.shows_page(look):
        return False
    return actor.has(*READS[look.reads]) and set(queue.filters) <= set(look.filters)


def _shown(queue: Queue, actor: Actor, at: datetime) -> Shown:
    look = LOOKS[queue.subject]
    page = look().page(actor, after="", limit=MOST, filters=queue.filters, at=at)
    query = f"?{urlencode(queue.filters)}" if queue.filters else ""
    return Shown(
        title=queue.title,
        why=queue.why,
        subject=queue.subject,
        table=list_table(queue.subject, page.items),
        count=f"{len(page.items)}+" if page.next_after else str(len(page.items)),
        address=f"/{queue.subject}{query}",
    )


def begin(actor: Actor) -> list[Way]:
    """Return the doors by which the actor can begin something new."""
    ways = []
    for door in DOORS.values():
        if door.creates and door.subject not in {"audit", "token"} and actor.has(*door.rule().roles):
            ways.append(way_to(door, ""))
    return ways


@signed_in
@require_safe
def find(request: HttpRequest) -> HttpResponse:
    """Go to whatever a typed or scanned code names; raises BadInput for what is no code."""
    actor = actor_on_page(request)
    kind, code = parse(request.GET.get("code", ""))
    if not actor.has(*READS["trace"]):
        code = _record_holding(actor, kind.name, code)
    return HttpResponseRedirect(address_of(registry.subject_of(code) or kind.name, code))


def _record_holding(actor: Actor, kind: str, code: str) -> str:
    """Return the record to open for a code that has no page of its own: a unit's zone, a dose line's order."""
    if kind == "unit":
        return unit_zone(code, site_id=actor.site_id)
    return line_facts(code).order if kind == "dose line" else code
