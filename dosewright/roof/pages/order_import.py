"""Importing a file of orders: the form, the template, and what became of each order of the file."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_safe

from dosewright.ground.pure.errors import BadInput, Refusal, Refused
from dosewright.ground.rest import DOORS, Door
from dosewright.roof import clock
from dosewright.roof.api.authentication import actor_on_page
from dosewright.roof.api.problems import status_of
from dosewright.roof.api.rights import has_role
from dosewright.roof.pages.doors import not_for
from dosewright.roof.pages.forms import said
from dosewright.roof.pages.signed_in import signed_in
from prescriptions.intake.files import decoded
from prescriptions.intake.order_csv import COLUMNS, template_csv

MOST_LINES = 60
"""Most reasons that one page lists; the rest is counted: our choice."""


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def bring(request: HttpRequest) -> HttpResponse:
    """Show the form, or import the file and show what became of each order."""
    door = DOORS["order+import"]
    actor, at = actor_on_page(request), clock.now()
    if not has_role(actor, door):
        raise not_for(actor, door)
    if request.method != "POST":
        return _form(request, door)
    try:
        raw = {"text": _text(request), "source": request.POST.get("source", "").strip()}
        answer = door().take(actor, "", raw, at=at)
    except Refused as refused:
        return _form(request, door, refused)
    shown = answer.refused[:MOST_LINES]
    context = {
        "title": door.title,
        "answer": answer,
        "reasons": [_placed(one) for one in shown],
        "more": len(answer.refused) - len(shown),
        "held": sum(bool(one.refused) for one in answer.orders),
        "here": "order",
    }
    return render(request, "door/order-imported.html", context)


@signed_in
@require_safe
def template(request: HttpRequest) -> HttpResponse:
    """Send the empty CSV template."""
    headers = {"Content-Disposition": 'attachment; filename="orders-template.csv"'}
    return HttpResponse(template_csv(), content_type="text/csv; charset=utf-8", headers=headers)


def _text(request: HttpRequest) -> str:
    """Return the file's text, or what was typed instead; raises BadInput for both, neither, or what is no text."""
    file: Any = request.FILES.get("file")
    typed = request.POST.get("text", "")
    if (file is None) == (not typed.strip()):
        message = "either a file or its text is needed"
        raise BadInput.because("file", message, accepted="one of them", rule="missing")
    return typed if file is None else decoded(file.read())


def _form(request: HttpRequest, door: type[Door], refused: Refused | None = None) -> HttpResponse:
    refusals = refused.refusals if refused else ()
    context = {
        "title": door.title,
        "door": door,
        "columns": COLUMNS,
        "troubles": [{"text": _placed(one), "name": ""} for one in refusals[:MOST_LINES]],
        "typed": request.POST.get("text", ""),
        "source": request.POST.get("source", ""),
        "here": "order",
    }
    if len(refusals) > MOST_LINES:
        more = _("and %(n)s more") % {"n": len(refusals) - MOST_LINES}
        context["troubles"].append({"text": more, "name": ""})
    return render(request, "door/order-import.html", context, status=status_of(refused) if refused else 200)


def _placed(refusal: Refusal) -> str:
    value = f" “{refusal.value}”" if refusal.value else ""
    return f"{refusal.field}{value}: {said(refusal)}"
