"""Doors and look of ingredient lots."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, KeysetPage, Look, SignedInput, door, look
from printing.stock import queries, services
from printing.stock.api.inputs import ReasonInput, code_field, share_field
from printing.stock.content import IngredientLotFacts
from printing.stock.models.lots import BASES, EXPRESSED_AS
from printing.stock.queries.ingredient_lots import IngredientLotRow


class ReceiveInput(serializers.Serializer[Any]):
    """A delivery as its certificate states it."""

    ingredient = code_field(_("Ingredient"), _("The ingredient's code."))
    supplier_lot = serializers.CharField(max_length=60, label=_("Supplier's lot"))
    amount_g = serializers.DecimalField(max_digits=15, decimal_places=6, label=_("Amount (g)"))
    expires_on = serializers.DateField(label=_("Expiry date"), help_text=_("The last day it may be used."))
    certificate_reference = serializers.CharField(max_length=120, label=_("Certificate"))
    assay_frac = share_field(_("Assay"))
    u_assay_frac = share_field(_("Assay: standard uncertainty"))
    assay_basis = serializers.ChoiceField(choices=BASES, required=False, allow_blank=True, label=_("Assay: basis"))
    assay_expressed_as = serializers.ChoiceField(
        choices=EXPRESSED_AS,
        required=False,
        allow_blank=True,
        label=_("Assay: expressed as"),
        help_text=_("The form that is weighed (salt, ester, hydrate), or the active moiety itself."),
    )
    water_frac = share_field(_("Water"))
    loss_on_drying_frac = share_field(_("Loss on drying"))


@door
class ReceiveIngredientLot(Door):
    """Takes a delivery into quarantine."""

    action = "ingredient_lot.receive"
    subject = "ingredient-lot"
    creates = True
    title = _("Receive an ingredient lot")
    Input = ReceiveInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Receive the lot."""
        return services.receive_ingredient_lot(actor, lot=services.DeliveredLot(**data), at=at)


@door
class ApproveIngredientLot(Door):
    """Approves a quarantined lot."""

    action = "ingredient_lot.approve"
    subject = "ingredient-lot"
    verb = "approve"
    title = _("Approve")
    hint = _("By a pharmacist who did not receive it.")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Approve the lot."""
        return services.approve_ingredient_lot(actor, code, at=at)


@door
class RejectIngredientLot(Door):
    """Rejects a lot for good."""

    action = "ingredient_lot.reject"
    subject = "ingredient-lot"
    verb = "reject"
    title = _("Reject")
    Input = ReasonInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Reject the lot."""
        return services.reject_ingredient_lot(actor, code, reason=data["reason"], at=at)


@door
class BlockIngredientLot(Door):
    """Takes a lot out of use for now."""

    action = "ingredient_lot.block"
    subject = "ingredient-lot"
    verb = "block"
    title = _("Block")
    Input = ReasonInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Block the lot."""
        return services.block_ingredient_lot(actor, code, reason=data["reason"], at=at)


@door
class UnblockIngredientLot(Door):
    """Signs a blocked lot back into use."""

    action = "ingredient_lot.unblock"
    subject = "ingredient-lot"
    verb = "unblock"
    title = _("Sign to unblock")
    hint = _("Two pharmacists sign; the second signature unblocks.")
    Input = SignedInput

    def shown(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return the lot."""
        return services.shown_for_unblock_ingredient_lot(actor, code, at=at)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Sign."""
        return services.unblock_ingredient_lot(actor, code, pen=SignedInput.pen(data), at=at)


@door
class CloseIngredientLot(Door):
    """Closes a used-up lot."""

    action = "ingredient_lot.close"
    subject = "ingredient-lot"
    verb = "close"
    title = _("Close")
    hint = _("What is left on the shelf goes to waste on record.")
    Input = ReasonInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Close the lot."""
        return services.close_ingredient_lot(actor, code, reason=data["reason"], at=at)


@look
class IngredientLotLook(Look):
    """Ingredient lots."""

    subject = "ingredient-lot"
    reads = "stock"
    title = _("Ingredient lots")
    filters = ("state",)

    def one(self, actor: Actor, code: str, *, at: datetime) -> IngredientLotFacts:
        """Return one lot."""
        return queries.ingredient_lot(actor, code, at=at)

    def page(
        self, actor: Actor, *, after: str, limit: int, filters: Mapping[str, str], at: datetime
    ) -> KeysetPage[IngredientLotRow]:
        """Return a page of lots."""
        return queries.ingredient_lots(actor, after=after, limit=limit, state=filters.get("state", ""))
