"""The page that says why something was not done."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from dosewright.ground.pure.errors import Refused
from dosewright.roof.api.problems import problem


def refusal_page(request: HttpRequest, refused: Refused) -> HttpResponse:
    """Render a refusal with what, where and what is accepted."""
    document = problem(refused)
    return render(request, "refused.html", {"problem": document}, status=document["status"])
