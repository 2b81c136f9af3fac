"""The sign-in page, and the way out."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from dosewright.ground.models import User
from dosewright.ground.pure.errors import BadInput, Refused
from dosewright.ground.pure.roles import Channel
from dosewright.ground.rest import checked
from dosewright.roof import clock
from dosewright.roof.api.sessions import SignIn
from dosewright.roof.api.sign_in import sign_in, sign_out
from dosewright.roof.pages.forms import said


@sensitive_post_parameters("password")
@require_http_methods(["GET", "HEAD", "POST"])
def enter(request: HttpRequest) -> HttpResponse:
    """Show the form, or sign in and go where the person was going."""
    back = safe_back(request)
    if request.method != "POST":
        return HttpResponseRedirect(back) if isinstance(request.user, User) else _form(request, back)
    given = {name: request.POST.get(name, "") for name in ("username", "password")}
    try:
        sign_in(request, channel=Channel.PAGE, at=clock.now(), **checked(SignIn, given))
    except BadInput as refused:
        return _form(request, back, refused, status=422)
    except Refused as refused:
        return _form(request, back, refused, status=403)
    return HttpResponseRedirect(back)


@require_POST
def leave(request: HttpRequest) -> HttpResponse:
    """Sign out."""
    sign_out(request)
    return HttpResponseRedirect("/sign-in")


def safe_back(request: HttpRequest, *, otherwise: str = "/") -> str:
    """Return the address on this site that the request asks to go back to."""
    wanted = request.POST.get("back") or request.GET.get("back") or otherwise
    safe = wanted.startswith("/") and url_has_allowed_host_and_scheme(
        wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return wanted if safe else otherwise


def _form(request: HttpRequest, back: str, refused: Refused | None = None, *, status: int = 200) -> HttpResponse:
    context = {
        "back": back,
        "username": request.POST.get("username", ""),
        "troubles": [said(one) for one in refused.refusals] if refused else [],
    }
    return render(request, "sign_in.html", context, status=status)
