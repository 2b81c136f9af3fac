"""Pages of the house itself: cautions, trace, files of documents."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.views.decorators.http import require_safe

from dosewright.ground.pure.cautions import CAUTIONS
from dosewright.ground.pure.codes import parse
from dosewright.roof import clock
from dosewright.roof.api.authentication import actor_on_page
from dosewright.roof.api.documents import file_of, pdf_answer
from dosewright.roof.api.tracing import trace_of
from dosewright.roof.pages.facts import table_of
from dosewright.roof.pages.signed_in import signed_in
from dosewright.roof.pages.trace_drawing import drawing


@require_safe
def cautions(request: HttpRequest) -> HttpResponse:
    """Show the cautions; also to whoever has not signed in."""
    return render(request, "cautions.html", {"cautions": CAUTIONS, "here": "cautions"})


@signed_in
@require_safe
def trace(request: HttpRequest, code: str = "") -> HttpResponse:
    """Show everything that a code touched, as a picture and as tables."""
    wanted = code or request.GET.get("code", "")
    if not wanted:
        return render(request, "trace.html", {"here": "trace", "code": ""})
    tidy = parse(wanted)[1]
    if tidy != code:
        return HttpResponseRedirect(f"/trace/{tidy}")
    found = trace_of(actor_on_page(request), tidy)
    nodes, edges = found["nodes"], found["edges"]
    context = {
        "here": "trace",
        "code": tidy,
        "drawing": drawing(nodes, edges, centre=tidy),
        "nodes": table_of(nodes),
        "edges": table_of(edges),
        "counts": (len(nodes), len(edges)),
    }
    return render(request, "trace.html", context)


@signed_in
@require_safe
def document_file(request: HttpRequest, code: str) -> HttpResponse:
    """Send the file of a document; the look is recorded."""
    return pdf_answer(*file_of(actor_on_page(request), code, at=clock.now()))
