"""Doors and looks of this app: every action on patients, substances, orders and alerts, for REST and pages."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.utils.translation import gettext_lazy as _
from rest_framework import serializers

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.quantities import parse_height_cm, parse_weight_kg
from dosewright.ground.pure.roles import Actor
from dosewright.ground.pure.strict_json import parse
from dosewright.ground.rest import Door, KeysetPage, Look, SignedInput, door, look
from dosewright.ground.signing import Pen
from prescriptions import services
from prescriptions.intake.order_json import read_order
from prescriptions.intake.order_request import (
    ALLERGY_STATES,
    SEXES,
    SWALLOWING,
    Identifier,
    Measure,
    OrderRequest,
    StatedAllergies,
    StatedPatient,
)
from prescriptions.queries.alerts import AlertFacts
from prescriptions.queries.naming import site_today
from prescriptions.queries.orders import (
    OrderRow,
    SubstanceView,
    alerts_page,
    one_alert,
    one_order,
    orders_page,
    substances_page,
)
from prescriptions.queries.patients import PatientRow, one_patient, patients_page

SAID = ("not recorded", "no", "yes")


class StrictJsonField(serializers.JSONField):
    """A JSON value: as the body's parser left it, or typed as text and then parsed as strictly."""

    def to_internal_value(self, data: Any) -> Any:
        """Return the value; a text is parsed, and anything else was parsed before."""
        return parse(data.encode("utf-8", "surrogatepass")) if isinstance(data, str) else data


class OrderInput(serializers.Serializer[Any]):
    """One order as the order JSON, signed at once where password and digest come along."""

    order = StrictJsonField(label=_("Order"), help_text=_("The order JSON."), style={"base_template": "textarea.html"})
    shown_digest = serializers.CharField(max_length=64, required=False, allow_blank=True, label=_("Digest shown"))
    password = serializers.CharField(
        max_length=200,
        required=False,
        allow_blank=True,
        trim_whitespace=False,
        label=_("Your password"),
        style={"input_type": "password"},
    )

    @staticmethod
    def pen(data: Mapping[str, Any]) -> Pen | None:
        """Return the pen where one was given; half a pen is refused."""
        password, digest = data.get("password", ""), data.get("shown_digest", "")
        if not password and not digest:
            return None
        if not (password and digest):
            raise BadInput.because(
                "password", "a signature needs both password and shown_digest", accepted="both, or neither", rule="pen"
            )
        return Pen(password=password, shown_digest=digest)


class ChangeInput(OrderInput):
    """A new version of an order and why it is needed."""

    change_reason = serializers.CharField(min_length=3, max_length=200, label=_("Why it changes"))


class ReasonInput(serializers.Serializer[Any]):
    """Why."""

    reason = serializers.CharField(min_length=3, max_length=200, label=_("Reason"))


@door
class SetUpSubstance(Door):
    """Set up a substance."""

    action, subject, creates = "substance.set_up", "substance", True
    title = _("Set up substance")

    class Input(serializers.Serializer[Any]):
        name = serializers.CharField(max_length=80, label=_("Name"))
        rounding_step_mg = serializers.DecimalField(
            max_digits=12, decimal_places=6, label=_("Calculated doses round to multiples of [mg]")
        )
        rounding_limit_frac = serializers.DecimalField(
            max_digits=6, decimal_places=4, label=_("Most that rounding may change [fraction]")
        )
        rounding_source = serializers.CharField(max_length=200, label=_("Source of the rounding rule"))
        weekly_only = serializers.BooleanField(default=False, label=_("Once a week only"))
        controlled = serializers.BooleanField(default=False, label=_("Controlled"))
        hazardous = serializers.BooleanField(default=False, label=_("Hazardous"))
        narrow_index = serializers.BooleanField(default=False, label=_("Narrow therapeutic index"))
        warnings = serializers.ListField(
            child=serializers.CharField(max_length=200), default=list, label=_("Warnings on the label")
        )
        limits = StrictJsonField(
            required=False,
            label=_("Dose limits"),
            help_text=_("A list of limits: per, basis, low_mg, high_mg, severity, ages in days, source."),
        )

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Set it up."""
        today = site_today(actor, at)
        limits = tuple(_limit(one, f"limits[{n}]", today) for n, one in enumerate(_list(data.get("limits", []))))
        given = {name: value for name, value in data.items() if name not in {"limits", "warnings"}}
        facts = services.SubstanceFacts(**given, warnings=tuple(data["warnings"]), limits=limits)
        return {"name": services.set_up_substance(actor, facts=facts, at=at)}


class PatientInput(serializers.Serializer[Any]):
    """A new patient."""

    identifier_system = serializers.CharField(max_length=120, label=_("Whose number"))
    identifier_value = serializers.CharField(max_length=60, label=_("Patient number"))
    family_name = serializers.CharField(max_length=120, label=_("Family name"))
    given_name = serializers.CharField(max_length=120, label=_("Given name"))
    birth_date = serializers.DateField(label=_("Birth date"))
    sex = serializers.ChoiceField(choices=SEXES, label=_("Sex"))
    allergies_status = serializers.ChoiceField(choices=ALLERGY_STATES, label=_("Allergies"))
    allergies = serializers.ListField(
        child=serializers.CharField(max_length=120), default=list, label=_("Allergies listed")
    )
    swallowing = serializers.ChoiceField(choices=SWALLOWING, label=_("Swallowing"))
    largest_unit_mm = serializers.DecimalField(
        max_digits=6,
        decimal_places=2,
        min_value=Decimal(1),
        max_value=Decimal(25),
        required=False,
        allow_null=True,
        label=_("Largest form the patient takes [mm]"),
    )
    feeding_tube = serializers.ChoiceField(choices=SAID, default="not recorded", label=_("Feeding tube"))
    stricture = serializers.ChoiceField(choices=SAID, default="not recorded", label=_("Stricture"))
    pregnancy_possible = serializers.ChoiceField(choices=SAID, default="not recorded", label=_("Pregnancy possible"))
    weight_kg = serializers.CharField(max_length=12, required=False, allow_blank=True, label=_("Weight [kg]"))
    weighed_on = serializers.DateField(required=False, allow_null=True, label=_("Weighed on"))
    height_cm = serializers.CharField(max_length=12, required=False, allow_blank=True, label=_("Height [cm]"))
    height_on = serializers.DateField(required=False, allow_null=True, label=_("Height taken on"))


@door
class RegisterPatient(Door):
    """Take a new patient on."""

    action, subject, creates = "patient.register", "patient", True
    title = _("Register patient")
    Input = PatientInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Register them."""
        return {"code": services.register_patient(actor, facts=_stated_patient(data), at=at)}


@door
class CorrectPatient(Door):
    """Correct what stands of a patient."""

    action, subject, verb = "patient.correct", "patient", "correct"
    title = _("Correct")
    hint = _("Leave open what is right; say why the rest was wrong.")

    class Input(serializers.Serializer[Any]):
        family_name = serializers.CharField(max_length=120, required=False, allow_blank=True, label=_("Family name"))
        given_name = serializers.CharField(max_length=120, required=False, allow_blank=True, label=_("Given name"))
        birth_date = serializers.DateField(required=False, allow_null=True, label=_("Birth date"))
        sex = serializers.ChoiceField(choices=("", *SEXES), required=False, allow_blank=True, label=_("Sex"))
        swallowing = serializers.ChoiceField(
            choices=("", *SWALLOWING), required=False, allow_blank=True, label=_("Swallowing")
        )
        feeding_tube = serializers.ChoiceField(
            choices=("", *SAID), required=False, allow_blank=True, label=_("Feeding tube")
        )
        stricture = serializers.ChoiceField(choices=("", *SAID), required=False, allow_blank=True, label=_("Stricture"))
        pregnancy_possible = serializers.ChoiceField(
            choices=("", *SAID), required=False, allow_blank=True, label=_("Pregnancy possible")
        )
        allergies_recorded = serializers.ChoiceField(
            choices=("", *ALLERGY_STATES), required=False, allow_blank=True, label=_("Allergies")
        )
        largest_unit_mm = serializers.DecimalField(
            max_digits=6,
            decimal_places=2,
            required=False,
            allow_null=True,
            label=_("Largest form the patient takes [mm]"),
        )
        reason = serializers.CharField(min_length=5, max_length=200, label=_("Reason"))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Correct it."""
        changes = {name: value for name, value in data.items() if name != "reason" and value not in {None, ""}}
        services.correct_patient(actor, code, changes=changes, reason=data["reason"], at=at)
        return {"code": code, "corrected": sorted(changes)}


@door
class MeasurePatient(Door):
    """Add a weight or a height."""

    action, subject, verb = "patient.measure", "patient", "measure"
    title = _("Add weight or height")

    class Input(serializers.Serializer[Any]):
        kind = serializers.ChoiceField(choices=("weight", "height"), label=_("What"))
        value = serializers.CharField(max_length=12, label=_("Value"))
        unit = serializers.CharField(max_length=8, label=_("Unit"), help_text=_("kg or g; cm, m or mm."))
        measured_on = serializers.DateField(label=_("Measured on"))
        corrects = serializers.CharField(
            max_length=20,
            required=False,
            allow_blank=True,
            label=_("Replaces measure"),
            help_text=_("The code of a measure that was wrong."),
        )

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Add it."""
        measure = services.measure_patient(
            actor,
            code,
            kind=data["kind"],
            value=data["value"],
            unit=data["unit"],
            measured_on=data["measured_on"],
            corrects=data.get("corrects") or None,
            at=at,
        )
        return {"code": code, "measure": measure}


@door
class RevealPatient(Door):
    """Tell an auditor who a pseudonym is."""

    action, subject, verb = "patient.reveal", "patient", "reveal"
    title = _("Reveal who this is")
    hint = _("Your reason is recorded.")
    Input = ReasonInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Reveal it once."""
        return services.reveal_patient(actor, code, reason=data["reason"], at=at)


@door
class EnterOrder(Door):
    """Enter an order."""

    action, subject, creates = "order.enter", "order", True
    title = _("Enter order")
    hint = _("Without a signature the order waits for its prescriber, or for a pharmacist who saw the original.")
    Input = OrderInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Enter it; the source is the person who sends."""
        request = _request(actor, data, at)
        return services.enter_order(actor, request=request, source=actor.username, pen=OrderInput.pen(data), at=at)


@door
class SignOrder(Door):
    """Sign an order."""

    action, subject, verb = "order.sign", "order", "sign"
    title = _("Sign")
    Input = SignedInput

    def shown(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return the record that was prescribed."""
        return services.order_record(actor, code)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Sign it."""
        return services.sign_order(actor, code, pen=SignedInput.pen(data), at=at)


@door
class AttestOrder(Door):
    """Attest that the original was seen."""

    action, subject, verb = "order.attest", "order", "attest"
    title = _("Attest the original")
    hint = _("For an order that its prescriber did not sign here: you saw the original.")

    class Input(SignedInput):
        reference = serializers.CharField(max_length=80, label=_("Reference of the original"))
        seen_on = serializers.DateField(label=_("Seen on"))

    def shown(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return the record that was prescribed."""
        return services.order_record(actor, code)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Attest it."""
        return services.attest_order(
            actor, code, reference=data["reference"], seen_on=data["seen_on"], pen=SignedInput.pen(data), at=at
        )


@door
class OpenAlerts(Door):
    """Open an order's alerts."""

    action, subject, verb = "alert.open", "order", "open-alerts"
    title = _("Open alerts")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Open them."""
        return {"order": code, "alerts": services.open_alerts(actor, code, at=at)}


@door
class GiveReason(Door):
    """Give a reason for an alert."""

    action, subject, verb = "alert.reason", "alert", "reason"
    title = _("Give a reason")

    class Input(serializers.Serializer[Any]):
        reason = serializers.CharField(min_length=5, max_length=300, label=_("Why the order may go on"))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Give it."""
        return services.give_reason(actor, code, reason=data["reason"], at=at)


@door
class VerifyOrder(Door):
    """Verify an order clinically."""

    action, subject, verb = "order.verify", "order", "verify"
    title = _("Verify")
    Input = SignedInput

    def shown(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return record, signatures, reports and alerts."""
        return services.verify_shown(actor, code)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Verify it."""
        return services.verify_order(actor, code, pen=SignedInput.pen(data), at=at)


@door
class QueryOrder(Door):
    """Ask the prescriber."""

    action, subject, verb = "order.query", "order", "query"
    title = _("Query")

    class Input(serializers.Serializer[Any]):
        question = serializers.CharField(min_length=3, max_length=500, label=_("Question to the prescriber"))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Ask."""
        return services.query_order(actor, code, question=data["question"], at=at)


@door
class AnswerOrder(Door):
    """Answer a query."""

    action, subject, verb = "order.answer", "order", "answer"
    title = _("Answer")

    class Input(serializers.Serializer[Any]):
        answer = serializers.CharField(min_length=3, max_length=500, label=_("Answer to the pharmacist"))

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Answer."""
        return services.answer_order(actor, code, answer=data["answer"], at=at)


@door
class ReturnOrder(Door):
    """Send an order back to its prescriber."""

    action, subject, verb = "order.return", "order", "return"
    title = _("Return to prescriber")
    Input = ReasonInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Return it."""
        return services.return_order(actor, code, reason=data["reason"], at=at)


@door
class ResubmitOrder(Door):
    """Send a returned order in again."""

    action, subject, verb = "order.resubmit", "order", "resubmit"
    title = _("Send in again")
    hint = _("With a changed order, or, signed again, as it stood.")

    class Input(ChangeInput):
        order = StrictJsonField(required=False, label=_("Order"), help_text=_("The order JSON, where it changes."))

    def shown(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return the record as it stands."""
        return services.order_record(actor, code)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Send it in."""
        request = _request(actor, data, at) if data.get("order") else None
        return services.resubmit_order(
            actor, code, request=request, change_reason=data["change_reason"], pen=OrderInput.pen(data), at=at
        )


@door
class AmendOrder(Door):
    """Replace what an order says."""

    action, subject, verb = "order.amend", "order", "amend"
    title = _("Amend")
    hint = _("The new version is signed afterwards with Sign, then screened and checked anew.")
    Input = ChangeInput

    def shown(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return the record that would be replaced."""
        return services.order_record(actor, code)

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Amend it."""
        return services.amend_order(
            actor,
            code,
            request=_request(actor, data, at),
            change_reason=data["change_reason"],
            pen=OrderInput.pen(data),
            at=at,
        )


@door
class StopOrder(Door):
    """Stop an order."""

    action, subject, verb = "order.stop", "order", "stop"
    title = _("Stop order")
    hint = _("Whatever is planned, made or packed of it is held.")
    Input = ReasonInput

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Stop it."""
        return services.stop_order(actor, code, reason=data["reason"], at=at)


@look
class Orders(Look):
    """Orders."""

    subject, reads, title = "order", "order", _("Orders")
    filters = ("state", "patient")

    def one(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return one order."""
        return one_order(actor, code, at=at)

    def page(
        self, actor: Actor, *, after: str, limit: int, filters: Mapping[str, str], at: datetime
    ) -> KeysetPage[OrderRow]:
        """Return a page of orders, the earliest due first."""
        return orders_page(actor, after=after, limit=limit, at=at, **filters)


@look
class Patients(Look):
    """Patients."""

    subject, reads, title = "patient", "patient", _("Patients")
    filters = ("identifier",)

    def one(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return one patient."""
        return one_patient(actor, code, at=at)

    def page(
        self, actor: Actor, *, after: str, limit: int, filters: Mapping[str, str], at: datetime
    ) -> KeysetPage[PatientRow]:
        """Return a page of patients."""
        return patients_page(actor, after=after, limit=limit, at=at, **filters)


@look
class Alerts(Look):
    """Alerts."""

    subject, reads, title = "alert", "order", _("Alerts")
    filters = ("order",)

    def one(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return one alert."""
        return one_alert(actor, code)

    def page(
        self, actor: Actor, *, after: str, limit: int, filters: Mapping[str, str], at: datetime
    ) -> KeysetPage[AlertFacts]:
        """Return a page of alerts."""
        return alerts_page(actor, after=after, limit=limit, **filters)


@look
class Substances(Look):
    """Substances."""

    subject, reads, title = "substance", "order", _("Substances")

    def page(
        self, actor: Actor, *, after: str, limit: int, filters: Mapping[str, str], at: datetime
    ) -> KeysetPage[SubstanceView]:
        """Return a page of substances."""
        return substances_page(actor, after=after, limit=limit)


def _request(actor: Actor, data: Mapping[str, Any], at: datetime) -> OrderRequest:
    return read_order(data["order"], today=site_today(actor, at))


def _stated_patient(data: Mapping[str, Any]) -> StatedPatient:
    said = {"yes": True, "no": False, "not recorded": None}
    return StatedPatient(
        identifier=Identifier(system=data["identifier_system"], value=data["identifier_value"]),
        family_name=data["family_name"],
        given_name=data["given_name"],
        birth_date=data["birth_date"],
        sex=data["sex"],
        swallowing=data["swallowing"],
        allergies=_stated_allergies(data),
        weight=_measure(data, "weight_kg", "weighed_on", "kg"),
        height=_measure(data, "height_cm", "height_on", "cm"),
        largest_unit_mm=data.get("largest_unit_mm"),
        feeding_tube=said[data["feeding_tube"]],
        stricture=said[data["stricture"]],
        pregnancy_possible=said[data["pregnancy_possible"]],
    )


def _stated_allergies(data: Mapping[str, Any]) -> StatedAllergies:
    status, entries = data["allergies_status"], tuple(data["allergies"])
    if (status == "listed") != bool(entries):
        raise BadInput.because(
            "allergies",
            "status and entries contradict each other",
            value=status,
            accepted='entries with "listed", and none with any other status',
            rule="allergies-contradict",
        )
    return StatedAllergies(status=status, entries=entries)


def _measure(data: Mapping[str, Any], name: str, day: str, unit: str) -> Measure | None:
    value, measured_on = data.get(name), data.get(day)
    if not value and not measured_on:
        return None
    if not value or not measured_on:
        raise BadInput.because(name, "a measure needs its value and its day", accepted="both, or neither", rule="pair")
    how = parse_weight_kg if unit == "kg" else parse_height_cm
    return Measure(value=how(value, unit, field=name), measured_on=measured_on)


def _list(value: Any) -> list[Any]:
    if not isinstance(value, list):
        raise BadInput.because("limits", "must be a list", accepted="a list of limits", rule="list")
    return value


class LimitInput(serializers.Serializer[Any]):
    """One dose limit."""

    per = serializers.ChoiceField(choices=("dose", "day", "course"))
    basis = serializers.ChoiceField(choices=("absolute", "per kg", "per m2"), default="absolute")
    low_mg = serializers.DecimalField(max_digits=18, decimal_places=6, required=False, allow_null=True)
    high_mg = serializers.DecimalField(max_digits=18, decimal_places=6)
    severity = serializers.ChoiceField(choices=("block", "reason", "inform"), default="reason")
    age_from_days = serializers.IntegerField(min_value=0, default=0)
    age_to_days = serializers.IntegerField(min_value=1, required=False)
    source = serializers.CharField(max_length=200)  # type: ignore[assignment]
    since = serializers.DateField(required=False)


def _limit(value: Any, place: str, today: Any) -> services.LimitFacts:
    if not isinstance(value, Mapping):
        raise BadInput.because(place, "must be an object of named fields", accepted="a limit", rule="object")
    one = LimitInput(data=value)
    unknown = sorted(set(value) - set(one.fields))
    if unknown or not one.is_valid():
        wrong = unknown or sorted(one.errors)
        raise BadInput.because(f"{place}.{wrong[0]}", "cannot be taken", accepted=", ".join(one.fields), rule="limit")
    return services.LimitFacts(**({"since": today} | dict(one.validated_data)))
