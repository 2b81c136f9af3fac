"""Entering, amending and sending in an order again by a form; the prescriber then signs what was made of it.

The form goes through the same doors as the REST API, as the same JSON, without a signature. Where its
prescriber typed it, the page that follows shows the exact record, with doses rounded and lines made, and asks
for the signature. An order that is left there waits to be signed.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods

from dosewright.ground.pure.errors import NotThere, Refused
from dosewright.ground.pure.roles import READS, Actor, Role
from dosewright.ground.rest import DOORS, LOOKS, Door, plain
from dosewright.roof import clock
from dosewright.roof.api import registry
from dosewright.roof.api.authentication import actor_on_page
from dosewright.roof.api.problems import status_of
from dosewright.roof.api.rights import has_role
from dosewright.roof.pages.doors import not_for
from dosewright.roof.pages.forms import FormField, Trouble, troubles
from dosewright.roof.pages.order_form import (
    MORE,
    MOST_STEPS,
    ORDER,
    PATIENT,
    STEP,
    field,
    in_step,
    order_json,
    placed,
    steps_typed,
    typed_from,
    values_typed,
)
from dosewright.roof.pages.signed_in import signed_in

ON_FILE = gettext_lazy("Of a patient who is on file here.")
CODE_OF_PATIENT = ("patient.code", gettext_lazy("Patient code"), "text", (), ON_FILE, False)
SUBSTANCE = ("substance", gettext_lazy("Substance"), "text", (), "", True)
PRESCRIBER = ("prescriber.registration", gettext_lazy("Prescriber's registration"), "text", (), "", False)
REASON = ("change_reason", gettext_lazy("Why it changes"), "text", (), "", True)


@dataclass(slots=True, kw_only=True)
class Typed:
    """What stands in the form."""

    values: dict[str, str]
    steps: int


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnStep:
    """One step of the form; ``is_open`` where what few steps have is used, or wrong."""

    first: list[FormField]
    more: list[FormField]
    is_open: bool


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def enter(request: HttpRequest) -> HttpResponse:
    """Enter a new order."""
    return _handle(request, DOORS["order+"], "")


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def change(request: HttpRequest, code: str, verb: str) -> HttpResponse:
    """Amend an order, or send a returned one in again."""
    return _handle(request, DOORS[f"order/{verb}"], code)


def _handle(request: HttpRequest, door: type[Door], code: str) -> HttpResponse:
    actor, at = actor_on_page(request), clock.now()
    if not has_role(actor, door):
        raise not_for(actor, door)
    if request.method != "POST":
        return _form(request, door, code, actor, _before(request, door, code, actor))
    typed = Typed(
        values=values_typed(request.POST),
        steps=steps_typed(request.POST),
    )
    if "add" in request.POST or "drop" in request.POST:
        return _form(request, door, code, actor, _stepped(typed, "add" in request.POST))
    raw: dict[str, Any] = {"order": order_json(typed.values, steps=typed.steps)}
    if code:
        raw["change_reason"] = typed.values.get("change_reason", "")
    try:
        answer = plain(door().take(actor, code, raw, at=at))
    except NotThere:
        raise
    except Refused as refused:
        return _form(request, door, code, actor, typed, refused)
    return _on(request, door, actor, answer)


def _before(request: HttpRequest, door: type[Door], code: str, actor: Actor) -> Typed:
    """Return what the form starts with: an empty order with a reference of its own, or the order as it stands."""
    if not code and request.GET.get("repeats"):
        return _repeating(request.GET["repeats"][:20].upper(), actor)
    if not code:
        values = {"reference": _reference(), "route": "oral"}
        if request.GET.get("patient"):
            values["patient.code"] = request.GET["patient"]
        return Typed(values=values, steps=1)
    at = clock.now()
    values, steps = typed_from(plain(door().shown(actor, code, at=at)))
    values["patient.code"] = LOOKS["order"]().one(actor, code, at=at).patient
    return Typed(values=values, steps=steps)


def _repeating(code: str, actor: Actor) -> Typed:
    """Return a new order that starts as the one it repeats, without the days: they are never what they were."""
    at = clock.now()
    values, steps = typed_from(plain(DOORS["order/amend"]().shown(actor, code, at=at)))
    values |= {f"regimen.steps[{place}].start_date": "" for place in range(steps)}
    values |= {"reference": _reference(), "repeats.order": code, "repeats.change": ""}
    values["patient.code"] = LOOKS["order"]().one(actor, code, at=at).patient
    return Typed(values=values, steps=steps)


def _reference() -> str:
    return f"page-{secrets.token_hex(8)}"


def _stepped(typed: Typed, more: bool) -> Typed:
    """Add a step that starts and lasts as the one before it, or drop the last."""
    if not more:
        return Typed(values=typed.values, steps=max(1, typed.steps - 1))
    last, new = typed.steps - 1, min(typed.steps, MOST_STEPS - 1)
    for name in ("start_date", "days"):
        kept = typed.values.get(f"regimen.steps[{last}].{name}", "")
        typed.values.setdefault(f"regimen.steps[{new}].{name}", kept)
    return Typed(values=typed.values, steps=new + 1)


def _on(request: HttpRequest, door: type[Door], actor: Actor, answer: Mapping[str, Any]) -> HttpResponse:
    code = str(answer["code"])
    messages.success(request, _("Done: %(title)s %(code)s") % {"title": door.title, "code": code})
    signs_next = actor.has(Role.PRESCRIBER) and (door.action != "order.enter" or answer.get("state") == "waiting")
    return HttpResponseRedirect(f"/order/{code}/sign" if signs_next else f"/order/{code}")


def _form(
    request: HttpRequest, door: type[Door], code: str, actor: Actor, typed: Typed, refused: Refused | None = None
) -> HttpResponse:
    refusals = placed(refused.refusals) if refused else ()

    def drawn(plan: Any, name: str = "") -> FormField:
        return field(plan, name or plan[0], typed.values, refusals)

    known = drawn(CODE_OF_PATIENT)
    patient = [drawn(plan) for plan in PATIENT]
    order = [drawn(plan) for plan in ORDER]
    steps = [_drawn_step(drawn, place) for place in range(typed.steps)]
    more = [drawn(SUBSTANCE), drawn(PRESCRIBER), drawn(REASON)]
    every = [known, *patient, *order, *more, *(one for step in steps for one in (*step.first, *step.more))]
    context = {
        "title": door.title,
        "door": door,
        "code": code,
        "known": known,
        "patient": patient,
        "new_patient": any(one.value or one.errors for one in patient) or not typed.values.get("patient.code"),
        "order": order,
        "substance": more[0],
        "substances": _substances(actor),
        "prescriber": None if actor.has(Role.PRESCRIBER) else more[1],
        "registration": typed.values.get("prescriber.registration", ""),
        "change_reason": more[2] if code else None,
        "steps": steps,
        "count": typed.steps,
        "reference": typed.values.get("reference", ""),
        "troubles": [_with_step(one) for one in troubles(every, refusals)],
        "signs_next": actor.has(Role.PRESCRIBER),
        "focus": f"regimen.steps[{typed.steps - 1}].dose" if "add" in request.POST else "",
        "here": "order",
    }
    return render(request, "door/order-entry.html", context, status=status_of(refused) if refused else 200)


def _drawn_step(drawn: Callable[[Any, str], FormField], place: int) -> DrawnStep:
    first, more = ([drawn(plan, f"regimen.steps[{place}].{plan[0]}") for plan in part] for part in (STEP, MORE))
    return DrawnStep(first=first, more=more, is_open=any(one.value or one.errors for one in more))


def _with_step(trouble: Trouble) -> Trouble:
    step = in_step(trouble.name)
    if step is None:
        return trouble
    return replace(trouble, text=_("Step %(n)s, %(text)s") % {"n": step, "text": trouble.text})


def _substances(actor: Actor) -> list[str]:
    look = registry.look_at("substance")
    if look is None or not actor.has(*READS[look.reads]):
        return []
    page = look().page(actor, after="", limit=200, filters={}, at=clock.now())
    return [one.name for one in page.items]
