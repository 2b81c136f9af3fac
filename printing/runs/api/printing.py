"""Doors of a batch from its gates to the removal of its rafts; a linked printer uses four of them itself."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import Door, door
from printing.runs import services
from printing.runs.content import GATES, INSPECTED
from printing.runs.services.running import FAULT_KINDS

MOST = 1_000_000
SHA256 = r"^[0-9a-f]{64}$"


def numbers_in(field: str, text: str) -> tuple[int, ...]:
    """Return the unit numbers of a text like "5, 12"; raises BadInput."""
    words = text.replace(",", " ").split()
    if not all(word.isascii() and word.isdigit() and len(word) < 7 for word in words):
        raise BadInput.because(field, "is no list of numbers", value=text[:60], accepted="numbers like 5, 12")
    return tuple(int(word) for word in words)


@door
class RecordGate(Door):
    """Records one gate before the start."""

    action, subject, verb = "run.gate", "batch", "gate"
    title = _("Record a gate")
    hint = _("Scan or read off what stands at the printer; it is held against the plan at once and again at the start.")
    needs = ("ready",)

    class Input(serializers.Serializer[Any]):
        """Which gate, what was scanned or read, what is stated."""

        gate = serializers.ChoiceField(choices=(*GATES, INSPECTED), label=_("Gate"))
        value = serializers.CharField(
            max_length=80,
            required=False,
            allow_blank=True,
            label=_("Scanned or read"),
            help_text=_("Code of lot, tank fill or tank; layer count; hash of the print profile."),
        )
        statement = serializers.CharField(
            max_length=200,
            required=False,
            allow_blank=True,
            label=_("Statement"),
            help_text=_("What you saw; for the print profile its name as the printer shows it."),
        )

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Record it."""
        waiting = services.record_gate(
            actor,
            code,
            gate=data["gate"],
            value=data.get("value", ""),
            statement=data.get("statement", ""),
            at=at,
        )
        return {"code": code, "gate": data["gate"], "waiting": list(waiting)}


@door
class StartRun(Door):
    """Starts a ready batch."""

    action, subject, verb = "run.start", "batch", "start"
    title = _("Start the run")
    hint = _("Every gate must hold; the orders are screened once more.")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Start it."""
        return services.start_run(actor, code, at=at)


@door
class PrinterSeen(Door):
    """Takes what a linked printer says of the file it holds."""

    action, subject, verb = "run.seen", "batch", "seen"
    title = _("The printer holds this file")
    needs = ("ready",)

    class Input(serializers.Serializer[Any]):
        """The file as the printer reads it."""

        file_sha256 = serializers.RegexField(SHA256, label=_("SHA-256 of the file"))
        layers = serializers.IntegerField(min_value=1, max_value=MOST, label=_("Layers"))
        layer_um = serializers.IntegerField(min_value=1, max_value=10_000, label=_("Layer height [um]"))
        profile_sha256 = serializers.RegexField(SHA256, label=_("SHA-256 of the print profile"))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Keep it."""
        return services.printer_seen(actor, code, at=at, **data)


@door
class ReportLayer(Door):
    """Overwrites how far a running batch is."""

    action, subject, verb = "run.layer", "batch", "layer"
    title = _("Report the layer")
    needs = ("printing",)

    class Input(serializers.Serializer[Any]):
        """Layer k of N and the time left."""

        layer = serializers.IntegerField(min_value=0, max_value=MOST, label=_("Layer"))
        layers = serializers.IntegerField(min_value=1, max_value=MOST, label=_("of layers"))
        seconds_left = serializers.IntegerField(min_value=0, max_value=10_000_000, label=_("Seconds left"))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Report it."""
        return services.report_layer(actor, code, at=at, **data)


@door
class EndRun(Door):
    """Ends a run after its last layer."""

    action, subject, verb = "run.end", "batch", "end"
    title = _("End the run")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """End it."""
        return services.end_run(actor, code, at=at)


@door
class FaultRun(Door):
    """Ends a faulted run for good."""

    action, subject, verb = "run.fault", "batch", "fault"
    title = _("Record a fault")
    hint = _("The batch number ends for good, its units are destroyed on record, its lines are planned anew.")

    class Input(serializers.Serializer[Any]):
        """Where and what."""

        layer = serializers.IntegerField(min_value=0, max_value=MOST, label=_("Layer"))
        kind = serializers.ChoiceField(choices=FAULT_KINDS, label=_("Kind of fault"))
        text = serializers.CharField(max_length=200, label=_("What happened"))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Record it."""
        return services.fault_run(actor, code, at=at, **data)


@door
class RemoveFromPlate(Door):
    """Records the rafts taken off the plate, with a count of every zone."""

    action, subject, verb = "run.remove", "batch", "remove"
    title = _("Take the rafts off the plate")
    hint = _("Count every zone. A surplus holds its zone and every zone that is short.")

    class Input(serializers.Serializer[Any]):
        """Counts by zone, and the numbers of units that are not there."""

        counts = serializers.DictField(
            child=serializers.IntegerField(min_value=0, max_value=100_000),
            label=_("Counted"),
            help_text=_("One line for each zone: its code and how many units you counted."),
        )
        missing = serializers.DictField(
            child=serializers.CharField(max_length=200, allow_blank=True),
            required=False,
            label=_("Places that are empty"),
            help_text=_("Zone and the numbers of the units that are gone: ZN-… 5, 12."),
        )
        not_printed = serializers.DictField(
            child=serializers.CharField(max_length=200, allow_blank=True),
            required=False,
            label=_("Units that were never formed"),
            help_text=_("Zone and the numbers of the units."),
        )

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Record it."""
        missing, not_printed = data.get("missing", {}), data.get("not_printed", {})
        counts = {
            zone: services.ZoneCount(
                counted=counted,
                missing=numbers_in(f"missing.{zone}", missing.get(zone, "")),
                not_printed=numbers_in(f"not_printed.{zone}", not_printed.get(zone, "")),
            )
            for zone, counted in data["counts"].items()
        }
        unknown = sorted((set(missing) | set(not_printed)) - set(counts))
        if unknown:
            raise BadInput.because("missing", "names a zone that was not counted", value=unknown[0][:40])
        return services.remove_from_plate(actor, code, counts=counts, at=at)
