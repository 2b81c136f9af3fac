"""The form page of every door: what is asked, what is shown to sign, what was refused and where."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from dosewright.ground.pure.errors import NotAllowed, NotThere, Refusal, Refused
from dosewright.ground.pure.roles import READS, Actor
from dosewright.ground.rest import Door, plain
from dosewright.ground.signing import shown_digest
from dosewright.roof import clock
from dosewright.roof.api import registry
from dosewright.roof.api.authentication import actor_on_page
from dosewright.roof.api.problems import status_of
from dosewright.roof.api.rights import has_role, who_could
from dosewright.roof.pages.coming_and_going import safe_back
from dosewright.roof.pages.facts import section_of
from dosewright.roof.pages.forms import fields_of, raw_input, troubles
from dosewright.roof.pages.layouts import layout_of
from dosewright.roof.pages.notation import address_of
from dosewright.roof.pages.records import facts_of, seen
from dosewright.roof.pages.signed_in import signed_in


@sensitive_post_parameters("password")
@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def acting(request: HttpRequest, subject: str, code: str, verb: str) -> HttpResponse:
    """Show or take a door of one record."""
    door = registry.door_at(subject, verb, creates=False)
    if door is None:
        raise Http404
    return take_or_show(request, door, code)


@sensitive_post_parameters("password")
@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def creating(request: HttpRequest, subject: str, verb: str = "") -> HttpResponse:
    """Show or take a door that makes a record."""
    door = registry.door_at(subject, verb, creates=True)
    if door is None:
        raise Http404
    return take_or_show(request, door, "")


def take_or_show(request: HttpRequest, door: type[Door], code: str) -> HttpResponse:
    """Show the form of a door, or take the door with what was typed."""
    actor, at = actor_on_page(request), clock.now()
    if not has_role(actor, door):
        raise not_for(actor, door)
    if request.method != "POST":
        return form(request, door, code, actor, at=at)
    try:
        answer = door().take(actor, code, raw_input(door, request.POST), at=at)
    except NotThere:
        raise
    except Refused as refused:
        return form(request, door, code, actor, at=at, refused=refused)
    return after(request, door, code, answer)


def not_for(actor: Actor, door: type[Door]) -> NotAllowed:
    """Return the refusal of a door that is not for the actor's roles, saying who could."""
    return NotAllowed(
        Refusal(
            field="actor",
            value=actor.username,
            message=_("“%(title)s” is not for you") % {"title": door.title},
            accepted=who_could(door.rule()),
            rule="role",
        )
    )


def form(
    request: HttpRequest, door: type[Door], code: str, actor: Actor, *, at: datetime, refused: Refused | None = None
) -> HttpResponse:
    """Render a door's form; after a refusal with what was typed and what was wrong."""
    signing, cannot = what_is_signed(door, code, actor, at=at)
    refusals = refused.refusals if refused else cannot.refusals if cannot else ()
    given = request.POST if request.method == "POST" else None
    asked = {name: value for name, value in request.GET.items() if name != "shown_digest"} if given is None else {}
    initial = {**asked, "shown_digest": signing["shown_digest"]} if signing else asked
    fields = fields_of(door, given, refusals, initial=initial)
    record = seen(actor, door.subject, code, at=at) if code and may_see(actor, door.subject) else None
    context = {
        "door": door,
        "title": door.title,
        "subject": door.subject,
        "code": code,
        "back": safe_back(request, otherwise=""),
        "fields": fields,
        "troubles": troubles(fields, refusals),
        "signing": signing,
        "shut": cannot is not None,
        "who": who_could(door.rule()),
        "headline": facts_of(record, layout_of(door.subject))["headline"],
        "record": record,
        "here": door.subject,
    }
    names = [f"door/{door.subject}-{door.verb}.html", "door.html"]
    return render(request, names, context, status=status_of(refused or cannot) if refusals else 200)  # type: ignore[arg-type]


def what_is_signed(
    door: type[Door], code: str, actor: Actor, *, at: datetime
) -> tuple[dict[str, Any] | None, Refused | None]:
    """Return what a signer is shown with its digest, or the refusal to show it; neither for unsigned doors."""
    if not door.rule().signed or door.creates:
        return None, None
    try:
        record = door().shown(actor, code, at=at)
    except NotThere:
        raise
    except Refused as refused:
        return None, refused
    return signed_record(record), None


def signed_record(record: Any) -> dict[str, Any]:
    """Return a record that is to be signed as a page shows it, with its digest; what stands in the way comes first."""
    shown = record if isinstance(record, Mapping) else plain(record)
    return {
        "section": section_of(shown),
        "shown_digest": shown_digest(record),
        "blockers": getattr(record, "blockers", ()),
    }


def may_see(actor: Actor, subject: str) -> bool:
    """Tell whether the actor may look at records of a kind."""
    look = registry.look_at(subject)
    return look is not None and registry.shows_one(look) and actor.has(*READS[look.reads])


def after(request: HttpRequest, door: type[Door], code: str, answer: Any) -> HttpResponse:
    """Go on after a door was taken; an answer that is shown once is shown here and nowhere else."""
    facts = plain(answer) if answer is not None else {}
    facts = facts if isinstance(facts, dict) else {"result": facts}
    made = str(facts.get("code") or code)
    if "token" in facts or (door.creates and door.verb and not made):
        context = {"door": door, "title": door.title, "section": section_of(facts), "subject": door.subject}
        return render(request, "done.html", context)
    messages.success(request, _("Done: %(title)s %(code)s") % {"title": door.title, "code": made})
    back = safe_back(request, otherwise="")
    if not made:
        return HttpResponseRedirect(back or f"/{door.subject}")
    return HttpResponseRedirect(back or address_of(registry.subject_of(made) or door.subject, made))
