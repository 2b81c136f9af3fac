"""The door for a file of orders: CSV, the order JSON or FHIR R4, each order answered for itself."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, door
from prescriptions import services
from prescriptions.intake.drafts import LONGEST_SOURCE, UNSENT


@door
class ImportOrders(Door):
    """Import a file of orders."""

    action, subject, verb, creates = "order.import", "order", "import", True
    title = _("Import orders")
    hint = _(
        "A file as CSV, as the order JSON or as FHIR R4. Nothing is signed by it: each order waits for its prescriber, "
        "or for a pharmacist who saw the original."
    )
    media = ("text/csv", "application/fhir+json")

    class Input(serializers.Serializer[Any]):
        text = serializers.CharField(
            trim_whitespace=False,
            allow_blank=True,
            label=_("The file's text"),
            help_text=_("CSV with a header row, the order JSON (one or a list), or FHIR R4 JSON."),
            style={"base_template": "textarea.html"},
        )
        source = serializers.CharField(  # type: ignore[assignment]
            max_length=LONGEST_SOURCE,
            required=False,
            allow_blank=True,
            label=_("Who sent it"),
            help_text=_("A sender's numbers are told apart by it; the same sender is always named the same way."),
        )

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Import it; raises BadInput with every reason where nothing at all was taken."""
        text, source = data["text"].encode("utf-8", "surrogatepass"), data.get("source") or UNSENT
        answer = services.import_file(actor, data=text, source=source, at=at)
        if answer.taken or answer.repeated:
            return answer
        nothing = BadInput(*answer.refused)
        nothing.recorded = True
        raise nothing
