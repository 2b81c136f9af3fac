"""What every template knows: who is signed in, at which site, and the cautions."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest


def who_and_where(request: HttpRequest) -> dict[str, Any]:
    """Return the signed-in person and site."""
    user = getattr(request, "user", None)
    signed_in = user is not None and user.is_authenticated
    return {"person": user if signed_in else None, "site": user.site if signed_in and user else None}
