"""Doors and look of tank fills."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, KeysetPage, Look, door, look
from printing.stock import queries, services
from printing.stock.api.inputs import code_field
from printing.stock.content import TankFillFacts
from printing.stock.queries.equipment import TankFillRow


class FillInput(serializers.Serializer[Any]):
    """Which lot goes into which tank."""

    tank = code_field(_("Tank"), _("Scan or type the tank's code."))
    resin_lot = code_field(_("Resin lot"), _("Scan or type the lot's code."))
    volume_ml = serializers.DecimalField(max_digits=10, decimal_places=3, label=_("Volume (mL)"))


@door
class FillTank(Door):
    """Fills a tank."""

    action = "tank.fill"
    subject = "tank-fill"
    creates = True
    title = _("Fill a tank")
    Input = FillInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Fill the tank."""
        return services.fill_tank(actor, at=at, **data)


@door
class EmptyTank(Door):
    """Empties a tank to waste."""

    action = "tank.empty"
    subject = "tank-fill"
    verb = "empty"
    title = _("Empty the tank")
    hint = _("What is left goes to waste, never back to the lot.")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Empty the tank."""
        return services.empty_tank(actor, code, at=at)


@look
class TankFillLook(Look):
    """Tank fills."""

    subject = "tank-fill"
    reads = "stock"
    title = _("Tank fills")
    filters = ("tank", "resin_lot")

    def one(self, actor: Actor, code: str, *, at: datetime) -> TankFillFacts:
        """Return one fill."""
        return queries.tank_fill(actor, code, at=at)

    def page(
        self, actor: Actor, *, after: str, limit: int, filters: Mapping[str, str], at: datetime
    ) -> KeysetPage[TankFillRow]:
        """Return a page of fills."""
        return queries.tank_fills(
            actor,
            after=after,
            limit=limit,
            tank=filters.get("tank", ""),
            resin_lot=filters.get("resin_lot", ""),
        )
