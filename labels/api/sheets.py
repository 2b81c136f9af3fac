"""Doors that print: drafts, weighing sheet, plate map, trace."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, door
from labels import services
from labels.api.inputs import (
    StockInput,
)


@door
class DraftLabel(Door):
    """Prints a draft of the label."""

    action, subject, verb = "document.draft", "pack", "draft-label"
    title = _("Print a draft of the label")
    Input = StockInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Print it."""
        return {"code": code, "document": services.draft_label(actor, code, stock=data["stock"], at=at).code}


@door
class DraftCertificate(Door):
    """Prints a draft of the certificate."""

    action, subject, verb = "document.draft", "pack", "draft-certificate"
    title = _("Print a draft of the certificate")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Print it."""
        return {"code": code, "document": services.draft_certificate(actor, code, at=at).code}


@door
class WeighingSheet(Door):
    """Prints the weighing sheet."""

    action, subject, verb = "document.make", "resin-lot", "weighing-sheet"
    title = _("Print the weighing sheet")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.PaperAnswer:
        """Print it."""
        return services.weighing_sheet(actor, code, at=at)


@door
class PlateMap(Door):
    """Prints the plate map."""

    action, subject, verb = "document.make", "batch", "plate-map"
    title = _("Print the plate map")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.PaperAnswer:
        """Print it."""
        return services.plate_map(actor, code, at=at)


@door
class TraceReport(Door):
    """Prints a trace."""

    action, subject, verb = "document.make", "trace", "report"
    title = _("Print the trace")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.PaperAnswer:
        """Print it."""
        return services.trace_report(actor, code, at=at)
