"""Pages are for people who signed in; all others are sent to sign in first."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect

from dosewright.ground.models import User
from dosewright.roof.api.authentication import actor_on_page
from dosewright.roof.pages.reader import reading

View = Callable[..., HttpResponse]


def signed_in(view: View) -> View:
    """Send whoever has not signed in to the sign-in page, and back afterwards."""

    @wraps(view)
    def inner(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if isinstance(request.user, User):
            with reading(actor_on_page(request)):
                return view(request, *args, **kwargs)
        back = request.get_full_path() if request.method == "GET" else "/"
        return HttpResponseRedirect(f"/sign-in?{urlencode({'back': back})}")

    return inner
