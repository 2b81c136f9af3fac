"""Looks at a run (by its batch's code) and at the evidence on a zone (by the zone's code)."""

from __future__ import annotations

from datetime import datetime

from django.utils.translation import gettext_lazy as _

from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Look, look
from printing.runs import queries


@look
class RunLook(Look):
    """Where a batch is: gates, layers, finishing, what is next."""

    subject, reads = "run", "batch"
    title = _("Runs")

    def one(self, actor: Actor, code: str, *, at: datetime) -> queries.RunFacts:
        """Return the run of one batch."""
        return queries.run(actor, code, at=at)


@look
class EvidenceLook(Look):
    """What a verdict on a zone rests on."""

    subject, reads = "evidence", "batch"
    title = _("Evidence")

    def one(self, actor: Actor, code: str, *, at: datetime) -> queries.ZoneEvidence:
        """Return the evidence on one zone."""
        return queries.evidence(actor, code)
