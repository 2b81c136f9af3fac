"""The door by which a law pack comes into use."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from dosewright.ground.law import shown_for_sign_law, sign_law
from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, SignedInput, door


@door
class SignLaw(Door):
    """Puts a law pack into use."""

    action, subject, verb = "jurisdiction.sign", "law-pack", "sign"
    title = _("Put a law pack into use")
    Input = SignedInput

    def shown(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return the law pack."""
        return shown_for_sign_law(actor, code)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Sign it."""
        return sign_law(actor, code, pen=SignedInput.pen(data), at=at)
