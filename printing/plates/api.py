"""Doors and looks of the plates: printers, plans, batches, zones."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, KeysetPage, Look, door, look
from printing.plates import queries, services
from printing.plates.services.printers import KINDS as CHECKS

MOST_UM = 1_000_000
MOST_UL = 10_000_000


class RegisterInput(serializers.Serializer[Any]):
    """A printer as it is set up."""

    name = serializers.CharField(max_length=60, label=_("Name"))
    kind = serializers.CharField(
        max_length=60, label=_("Kind of printer"), help_text=_("As the print profiles of the formulations name it.")
    )
    mode = serializers.ChoiceField(
        choices=[("link", _("linked: it speaks for itself")), ("manual", _("by hand: typed from its screen"))],
        label=_("How it is run"),
    )
    plate_x_um = serializers.IntegerField(min_value=1000, max_value=MOST_UM, label=_("Plate width [um]"))
    plate_y_um = serializers.IntegerField(min_value=1000, max_value=MOST_UM, label=_("Plate depth [um]"))
    build_height_um = serializers.IntegerField(min_value=1000, max_value=MOST_UM, label=_("Build height [um]"))
    tank_minimum_ul = serializers.IntegerField(min_value=0, max_value=MOST_UL, label=_("Least volume in its tank [uL]"))
    loss_ul = serializers.IntegerField(min_value=0, max_value=MOST_UL, label=_("Loss of each run [uL]"))
    tank = serializers.CharField(max_length=20, label=_("Tank"), help_text=_("The code of its tank."))


@door
class RegisterPrinter(Door):
    """Sets up a printer."""

    action, subject, creates = "printer.register", "printer", True
    title = _("Register a printer")
    Input = RegisterInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Register it."""
        spec = services.PrinterSpec(
            name=data["name"],
            kind=data["kind"],
            mode=data["mode"],
            plate_um=(data["plate_x_um"], data["plate_y_um"]),
            build_height_um=data["build_height_um"],
            tank_minimum_ul=data["tank_minimum_ul"],
            loss_ul=data["loss_ul"],
            tank=data["tank"],
        )
        return {"code": services.register_printer(actor, spec=spec, at=at)}


@door
class CheckPrinter(Door):
    """Records a calibration or a laser check."""

    action, subject, verb = "printer.check", "printer", "check"
    title = _("Record a check")

    class Input(serializers.Serializer[Any]):
        """What was checked and how it turned out."""

        kind = serializers.ChoiceField(choices=CHECKS, label=_("What was checked"))
        result = serializers.CharField(max_length=200, label=_("Result"))
        passed = serializers.BooleanField(label=_("Passed"))
        due_on = serializers.DateField(label=_("Next due on"))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Record it."""
        services.check_printer(actor, code, at=at, **data)
        return {"code": code}


@door
class FitTank(Door):
    """Fits another tank to a printer."""

    action, subject, verb = "printer.tank", "printer", "tank"
    title = _("Fit another tank")
    hint = _("A tank serves one formulation: a change of formulation is a change of tank.")

    class Input(serializers.Serializer[Any]):
        """Which tank."""

        tank = serializers.CharField(max_length=20, label=_("Tank"), help_text=_("The code of the tank."))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Fit it."""
        services.fit_tank(actor, code, tank=data["tank"], at=at)
        return {"code": code}


@door
class IssuePrinterToken(Door):
    """Gives a linked printer a new token, which ends its old one."""

    action, subject, verb = "printer.token", "printer", "token"
    title = _("New token for the printer")
    hint = _("Shown this once; its old token ends.")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Issue it."""
        return {"code": code, "token": services.issue_printer_token(actor, code, at=at)}


@door
class RequestPlan(Door):
    """Asks for a plan of all verified lines, or of those that one resin lot's formulation fits."""

    action, subject, creates = "plan.request", "plan", True
    title = _("Plan")
    hint = _("A worker makes the plan; look at it to see how far it is.")

    class Input(serializers.Serializer[Any]):
        """What is planned with."""

        resin_lot = serializers.CharField(
            max_length=20,
            required=False,
            allow_blank=True,
            default="",
            label=_("Resin lot"),
            help_text=_("Empty: every lot that can be printed."),
        )
        printer = serializers.CharField(
            max_length=20,
            required=False,
            allow_blank=True,
            default="",
            label=_("Printer"),
            help_text=_("Empty: every printer in use."),
        )

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Ask for it."""
        return {"code": services.request_plan(actor, at=at, **data)}


@door
class ApproveBatch(Door):
    """Approves a planned batch, so that its plate file is written."""

    action, subject, verb = "batch.approve", "batch", "approve"
    title = _("Approve the batch")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Approve it."""
        return {"code": code, "version": services.approve_batch(actor, code, at=at)}


@door
class CancelBatch(Door):
    """Cancels a batch that has not started."""

    action, subject, verb = "batch.cancel", "batch", "cancel"
    title = _("Cancel the batch")
    hint = _("Its lines can be planned again; its number is never used again.")

    class Input(serializers.Serializer[Any]):
        """Why."""

        reason = serializers.CharField(min_length=3, max_length=200, label=_("Reason"))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Cancel it."""
        return {"code": code, "version": services.cancel_batch(actor, code, reason=data["reason"], at=at)}


@look
class PrinterLook(Look):
    """Printers with their last checks."""

    subject, reads = "printer", "stock"
    title = _("Printers")

    def one(self, actor: Actor, code: str, *, at: datetime) -> queries.PrinterFacts:
        """Return one printer."""
        return queries.printer(actor, code)

    def page(
        self, actor: Actor, *, after: str, limit: int, filters: Mapping[str, str], at: datetime
    ) -> KeysetPage[queries.PrinterFacts]:
        """Return a page of printers."""
        return queries.printers(actor, after=after, limit=limit)


@look
class PlanLook(Look):
    """Plans that were asked for, with what was left out and why."""

    subject, reads = "plan", "batch"
    title = _("Plans")

    def one(self, actor: Actor, code: str, *, at: datetime) -> queries.PlanFacts:
        """Return one plan."""
        return queries.plan_facts(actor, code)

    def page(
        self, actor: Actor, *, after: str, limit: int, filters: Mapping[str, str], at: datetime
    ) -> KeysetPage[queries.PlanFacts]:
        """Return a page of plans."""
        return queries.plans(actor, after=after, limit=limit)


@look
class BatchLook(Look):
    """Print batches."""

    subject, reads = "batch", "batch"
    title = _("Print batches")
    filters = ("state", "printer")

    def one(self, actor: Actor, code: str, *, at: datetime) -> queries.BatchFacts:
        """Return one batch."""
        return queries.batch(actor, code)

    def page(
        self, actor: Actor, *, after: str, limit: int, filters: Mapping[str, str], at: datetime
    ) -> KeysetPage[queries.BatchRow]:
        """Return a page of batches, the newest first."""
        return queries.batches(
            actor, after=after, limit=limit, state=filters.get("state", ""), printer=filters.get("printer", "")
        )


@look
class ZoneLook(Look):
    """Zones with their units."""

    subject, reads = "zone", "batch"
    title = _("Zones")

    def one(self, actor: Actor, code: str, *, at: datetime) -> queries.ZoneFacts:
        """Return one zone."""
        return queries.zone(actor, code)
