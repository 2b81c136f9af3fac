"""Doors and look of resin lots."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, KeysetPage, Look, SignedInput, door, look
from printing.stock import queries, services
from printing.stock.api.inputs import ReasonInput, code_field
from printing.stock.content import ResinLotRecord
from printing.stock.models.lots import TESTS
from printing.stock.queries.resin_lots import ResinLotRow


class StartInput(serializers.Serializer[Any]):
    """Which formulation, and how much."""

    formulation = code_field(_("Formulation"), _("The formulation's code."))
    target_g = serializers.DecimalField(max_digits=12, decimal_places=3, label=_("Amount to make (g)"))


class ItemInput(serializers.Serializer[Any]):
    """One line of the weighing sheet."""

    item_number = serializers.IntegerField(min_value=1, label=_("Line of the weighing sheet"))


class WeighInput(ItemInput):
    """One actual weight."""

    ingredient_lot = code_field(_("Ingredient lot"), _("Scan or type the lot's code."))
    actual_mg = serializers.DecimalField(
        max_digits=15, decimal_places=3, label=_("Weight (mg)"), help_text=_("Exactly as the balance shows it.")
    )
    balance = code_field(_("Balance"), _("Scan or type the balance's code."))
    reason = serializers.CharField(
        max_length=200,
        required=False,
        allow_blank=True,
        label=_("Reason"),
        help_text=_("Needed for a weight outside its tolerance."),
    )


class TestInput(serializers.Serializer[Any]):
    """One result of a test before use."""

    __test__ = False

    kind = serializers.ChoiceField(choices=TESTS, label=_("Test"))
    place = serializers.CharField(
        max_length=20,
        required=False,
        allow_blank=True,
        label=_("Place"),
        help_text=_("Top, middle or bottom, where the test plan has places."),
    )
    value = serializers.CharField(max_length=60, label=_("Result"))


class ApproveInput(SignedInput):
    """A signature, with the investigation where the strength asks for one."""

    investigation = serializers.CharField(
        max_length=200,
        required=False,
        allow_blank=True,
        label=_("Investigation"),
        help_text=_("Reference and conclusion; needed for a strength outside the free range."),
    )


@door
class StartResinLot(Door):
    """Starts a lot."""

    action = "resin_lot.start"
    subject = "resin-lot"
    creates = True
    title = _("Start a resin lot")
    Input = StartInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Start the lot."""
        return services.start_resin_lot(actor, at=at, **data)


@door
class Weigh(Door):
    """Records one actual weight."""

    action = "resin_lot.weigh"
    subject = "resin-lot"
    verb = "weigh"
    title = _("Record a weight")
    hint = _("In the recipe's order of addition.")
    Input = WeighInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Record the weight."""
        return services.weigh(actor, code, at=at, **data)


@door
class CheckWeighing(Door):
    """Records the second person's check."""

    action = "resin_lot.check_weighing"
    subject = "resin-lot"
    verb = "check-weighing"
    title = _("Check a weighing")
    hint = _("By another person than the one who weighed.")
    Input = ItemInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Record the check."""
        return services.check_weighing(actor, code, item_number=data["item_number"], at=at)


@door
class MixResinLot(Door):
    """Records that the lot was mixed."""

    action = "resin_lot.mix"
    subject = "resin-lot"
    verb = "mix"
    title = _("Record mixing")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Record the mixing."""
        return services.mix_resin_lot(actor, code, at=at)


@door
class RecordLotTest(Door):
    """Records one result before use."""

    action = "resin_lot.test"
    subject = "resin-lot"
    verb = "test"
    title = _("Record a test before use")
    Input = TestInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Record the result."""
        return services.record_lot_test(actor, code, at=at, **data)


@door
class EndLotTests(Door):
    """Closes the tests before use."""

    action = "resin_lot.end_tests"
    subject = "resin-lot"
    verb = "end-tests"
    title = _("Close the tests")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Close the tests."""
        return services.end_lot_tests(actor, code, at=at)


@door
class ApproveResinLot(Door):
    """Signs a tested lot into use."""

    action = "resin_lot.approve"
    subject = "resin-lot"
    verb = "approve"
    title = _("Approve for printing")
    hint = _("By a pharmacist who took no part in making or testing it.")
    Input = ApproveInput

    def shown(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return the whole record of the lot."""
        return services.shown_for_approve(actor, code, at=at)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Sign."""
        investigation = data.get("investigation", "")
        return services.approve_resin_lot(actor, code, pen=SignedInput.pen(data), at=at, investigation=investigation)


@door
class RejectResinLot(Door):
    """Rejects a lot for good."""

    action = "resin_lot.reject"
    subject = "resin-lot"
    verb = "reject"
    title = _("Reject")
    Input = ReasonInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Reject the lot."""
        return services.reject_resin_lot(actor, code, reason=data["reason"], at=at)


@door
class BlockResinLot(Door):
    """Takes a lot out of use for now."""

    action = "resin_lot.block"
    subject = "resin-lot"
    verb = "block"
    title = _("Block")
    Input = ReasonInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Block the lot."""
        return services.block_resin_lot(actor, code, reason=data["reason"], at=at)


@door
class UnblockResinLot(Door):
    """Signs a blocked lot back into use."""

    action = "resin_lot.unblock"
    subject = "resin-lot"
    verb = "unblock"
    title = _("Sign to unblock")
    hint = _("Two pharmacists sign; the second signature unblocks.")
    Input = SignedInput

    def shown(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return the whole record of the lot."""
        return services.shown_for_unblock_resin_lot(actor, code, at=at)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Sign."""
        return services.unblock_resin_lot(actor, code, pen=SignedInput.pen(data), at=at)


@door
class CloseResinLot(Door):
    """Closes a used-up lot."""

    action = "resin_lot.close"
    subject = "resin-lot"
    verb = "close"
    title = _("Close")
    hint = _("What is left in store goes to waste on record.")
    Input = ReasonInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> services.LotAnswer:
        """Close the lot."""
        return services.close_resin_lot(actor, code, reason=data["reason"], at=at)


@look
class ResinLotLook(Look):
    """Resin lots."""

    subject = "resin-lot"
    reads = "stock"
    title = _("Resin lots")
    filters = ("state", "formulation")

    def one(self, actor: Actor, code: str, *, at: datetime) -> ResinLotRecord:
        """Return one lot."""
        return queries.resin_lot(actor, code, at=at)

    def page(
        self, actor: Actor, *, after: str, limit: int, filters: Mapping[str, str], at: datetime
    ) -> KeysetPage[ResinLotRow]:
        """Return a page of lots."""
        return queries.resin_lots(
            actor,
            after=after,
            limit=limit,
            state=filters.get("state", ""),
            formulation=filters.get("formulation", ""),
        )
