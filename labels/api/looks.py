"""Packs as people see them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from django.utils.translation import gettext_lazy as _

from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import KeysetPage, Look, look
from labels import queries
from labels.records import PackRow, PackView


@look
class PackLook(Look):
    """Packs and where they are."""

    subject, reads = "pack", "pack"
    title = _("Packs")
    filters = ("state", "order", "batch")

    def one(self, actor: Actor, code: str, *, at: datetime) -> PackView:
        """Return one pack."""
        return queries.pack(actor, code, at=at)

    def page(
        self, actor: Actor, *, after: str, limit: int, filters: Mapping[str, str], at: datetime
    ) -> KeysetPage[PackRow]:
        """Return packs, the newest first."""
        return queries.packs(actor, after=after, limit=limit, **filters)
