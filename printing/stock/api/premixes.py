"""Doors of premixes: ingredient lots that are made here."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, door
from printing.stock import services
from printing.stock.api.inputs import code_field, share_field
from printing.stock.api.resin_lots import ItemInput, WeighInput
from printing.stock.content import PREMIX_PLACES
from printing.stock.models.lots import EXPRESSED_AS


class StartPremixInput(serializers.Serializer[Any]):
    """Which premix, and how much."""

    ingredient = code_field(_("Premix"), _("The code of an ingredient that is a premix."))
    target_g = serializers.DecimalField(max_digits=11, decimal_places=3, label=_("Amount to make (g)"))


class AssayPremixInput(serializers.Serializer[Any]):
    """What was found at each place, as it is weighed."""

    top_frac = share_field(_("Content at the top"), required=True)
    middle_frac = share_field(_("Content in the middle"), required=True)
    bottom_frac = share_field(_("Content at the bottom"), required=True)
    u_assay_frac = share_field(_("Standard uncertainty"), required=True)
    expressed_as = serializers.ChoiceField(
        choices=EXPRESSED_AS,
        label=_("Expressed as"),
        help_text=_("The form that is weighed (salt, ester, hydrate), or the active moiety itself."),
    )


@door
class StartPremix(Door):
    """Starts a premix."""

    action = "premix.start"
    subject = "ingredient-lot"
    verb = "premix"
    creates = True
    title = _("Start a premix")
    Input = StartPremixInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Start the premix."""
        return services.start_premix(actor, at=at, **data)


@door
class WeighPremix(Door):
    """Records one actual weight into a premix."""

    action = "premix.weigh"
    subject = "ingredient-lot"
    verb = "weigh"
    title = _("Record a weight")
    hint = _("In the order of the premix's parts.")
    Input = WeighInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Record the weight."""
        return services.weigh_premix(actor, code, at=at, **data)


@door
class CheckPremixWeighing(Door):
    """Records the second person's check."""

    action = "premix.check_weighing"
    subject = "ingredient-lot"
    verb = "check-weighing"
    title = _("Check a weighing")
    hint = _("By another person than the one who weighed.")
    Input = ItemInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Record the check."""
        return services.check_premix_weighing(actor, code, item_number=data["item_number"], at=at)


@door
class MixPremix(Door):
    """Records that the premix was mixed."""

    action = "premix.mix"
    subject = "ingredient-lot"
    verb = "mix"
    title = _("Record mixing")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Record the mixing."""
        return services.mix_premix(actor, code, at=at)


@door
class AssayPremix(Door):
    """Records the assay of a mixed premix."""

    action = "premix.assay"
    subject = "ingredient-lot"
    verb = "assay"
    title = _("Record the assay")
    hint = _("At the top, in the middle and at the bottom, as it is weighed.")
    Input = AssayPremixInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Record the assay."""
        return services.assay_premix(
            actor,
            code,
            content_frac={place: data[f"{place}_frac"] for place in PREMIX_PLACES},
            u_assay_frac=data["u_assay_frac"],
            expressed_as=data["expressed_as"],
            at=at,
        )
