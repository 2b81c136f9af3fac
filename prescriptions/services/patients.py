"""Patients: taken on, corrected with a reason, measured, and shown to an auditor who says why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db.models import F

from dosewright.ground.act import Act, act
from dosewright.ground.fresh import new_code
from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.pure.errors import BadInput, Conflict, Refusal, refuse_if_any
from dosewright.ground.pure.quantities import parse_height_cm, parse_weight_kg
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find, record_read
from prescriptions.intake.order_request import (
    ALLERGY_STATES,
    SEXES,
    SWALLOWING,
    Measure,
    StatedPatient,
)
from prescriptions.models import BodyMeasure, Patient
from prescriptions.queries.naming import site_today
from prescriptions.services.rescreening import screen_orders_of
from prescriptions.services.taking import FLAGS, add_measure, by_identifier, create_patient

IDENTITY = ("family_name", "given_name", "birth_date")
CHOICES: Mapping[str, tuple[str, ...]] = {
    "sex": SEXES,
    "swallowing": SWALLOWING,
    "allergies_recorded": ALLERGY_STATES,
    **dict.fromkeys(FLAGS, ("yes", "no", "not recorded")),
}
CORRECTABLE = (*IDENTITY, *CHOICES, "language", "largest_unit_mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class PatientNames:
    """Who a patient is, as an auditor is told once."""

    code: str
    family_name: str
    given_name: str
    birth_date: date
    identifiers: tuple[str, ...]


def register_patient(actor: Actor, *, facts: StatedPatient, at: datetime) -> str:
    """Take a new patient on and return the code; prescribers and pharmacists.

    Raises NotAllowed, BadInput for days in the future, and Conflict where the identifier is on file.
    """
    code = new_code("patient")
    with act(actor, "patient.register", at=at, subject=code) as doing:
        today = site_today(actor, at)
        refuse_if_any(BadInput, _future_days(facts, today))
        if by_identifier(actor, facts) is not None:
            raise Conflict.because(
                "identifier",
                "a patient with this identifier is on file",
                accepted="the patient on file",
                rule="identifier",
            )
        create_patient(doing, code, facts)
    return code


def correct_patient(actor: Actor, code: str, *, changes: Mapping[str, Any], reason: str, at: datetime) -> None:
    """Correct what stands of a patient and screen their orders again; prescribers and pharmacists.

    `changes` maps names of `CORRECTABLE` to new values. Who the patient is goes into the audit trail as
    digests. Raises NotAllowed, NotThere, BadInput.
    """
    patient = find(actor, Patient, code)
    with act(actor, "patient.correct", at=at, subject=code, reason=reason) as doing:
        refuse_if_any(BadInput, _change_faults(changes, reason, site_today(actor, at)))
        who = {name: changes[name] for name in IDENTITY if name in changes}
        other = {name: value for name, value in changes.items() if name not in IDENTITY}
        if who:
            _change_identity(doing, patient, who)
        if other:
            doing.change(patient, **other)
        screen_orders_of(doing, patient)


def measure_patient(
    actor: Actor,
    code: str,
    *,
    kind: str,
    value: str,
    unit: str,
    measured_on: date,
    corrects: str | None = None,
    at: datetime,
) -> str:
    """Add a weight or height and return its code; a correction names the measure it replaces.

    Prescribers and pharmacists. The patient's orders are screened again. Raises NotAllowed, NotThere,
    BadInput for a unit or day that is not taken, Conflict where the measure was corrected before.
    """
    patient = find(actor, Patient, code)
    with act(actor, "patient.measure", at=at, subject=code) as doing:
        today = site_today(actor, at)
        if not patient.birth_date <= measured_on <= today:
            raise BadInput.because(
                "measured_on",
                "the day is before birth or in the future",
                value=measured_on.isoformat(),
                accepted=f"up to {today.isoformat()}",
                rule="date",
            )
        parse = {BodyMeasure.WEIGHT: parse_weight_kg, BodyMeasure.HEIGHT: parse_height_cm}.get(kind)
        if parse is None:
            raise BadInput.because("kind", "is not measured here", value=kind[:40], accepted="weight or height")
        measure = Measure(value=parse(value, unit, field="value"), measured_on=measured_on)
        old = None if corrects is None else _corrected(patient, kind, corrects)
        row = add_measure(doing, patient, kind, measure, corrects=old)
        screen_orders_of(doing, patient)
    return row.code


def reveal_patient(actor: Actor, code: str, *, reason: str, at: datetime) -> PatientNames:
    """Tell an auditor once who a pseudonym is, and record who asked and why; auditors only.

    Raises NotAllowed, NotThere, and BadInput without a reason.
    """
    patient = find(actor, Patient, code)
    with act(actor, "patient.reveal", at=at, subject=code, reason=reason) as doing:
        if len(reason.strip()) < 5:
            raise BadInput.because("reason", "says why the names are needed", accepted="a sentence", rule="reason")
        record_read(actor, patient=code, view="reveal", at=at, reason=reason[:200])
        doing.note(revealed=code)
    return names_of(patient)


def names_of(patient: Patient) -> PatientNames:
    """Return who a patient is."""
    pairs = patient.identifiers.order_by("pk").values_list("system", "value")
    return PatientNames(
        code=patient.code,
        family_name=patient.family_name,
        given_name=patient.given_name,
        birth_date=patient.birth_date,
        identifiers=tuple(f"{system} {value}" for system, value in pairs),
    )


def _corrected(patient: Patient, kind: str, code: str) -> BodyMeasure:
    row = BodyMeasure.objects.filter(patient=patient, kind=kind, code=code).first()
    if row is None:
        raise BadInput.because("corrects", f"no such {kind} of this patient", value=code[:40], rule="code")
    if BodyMeasure.objects.filter(corrects=row).exists():
        raise Conflict.because(
            "corrects", "this measure was corrected before", value=code, accepted="the latest measure", rule="corrected"
        )
    return row


def _future_days(facts: StatedPatient, today: date) -> list[Refusal]:
    days = {"birth_date": facts.birth_date}
    if facts.weight:
        days["weight.measured_on"] = facts.weight.measured_on
    if facts.height:
        days["height.measured_on"] = facts.height.measured_on
    return [
        Refusal(
            field=name,
            message="the day is in the future or before birth",
            value=day.isoformat(),
            accepted=f"up to {today.isoformat()}",
            rule="date",
        )
        for name, day in days.items()
        if day > today or day < facts.birth_date
    ]


def _change_faults(changes: Mapping[str, Any], reason: str, today: date) -> list[Refusal]:
    found = []
    if len(reason.strip()) < 5:
        found.append(Refusal(field="reason", message="says what was wrong", accepted="a sentence", rule="reason"))
    if not changes:
        found.append(Refusal(field="changes", message="nothing is corrected", accepted=", ".join(CORRECTABLE)))
    for name, value in changes.items():
        if name not in CORRECTABLE:
            found.append(Refusal(field=name, message="is not corrected here", accepted=", ".join(CORRECTABLE)))
        elif name in CHOICES and value not in CHOICES[name]:
            found.append(
                Refusal(
                    field=name,
                    message="is not taken",
                    value=str(value)[:40],
                    accepted=", ".join(CHOICES[name]),
                    rule="choice",
                )
            )
        elif name == "birth_date" and not (isinstance(value, date) and value <= today):
            found.append(Refusal(field=name, message="is no day up to today", accepted=f"up to {today}", rule="date"))
        elif name in {"family_name", "given_name"} and not (isinstance(value, str) and 0 < len(value.strip()) <= 120):
            found.append(Refusal(field=name, message="is no name", accepted="1 to 120 characters", rule="text"))
        elif name == "largest_unit_mm" and not (value is None or (isinstance(value, Decimal) and 1 <= value <= 25)):
            found.append(Refusal(field=name, message="is out of range", accepted="1 to 25, or nothing", unit="mm"))
    return found


def _change_identity(doing: Act, patient: Patient, who: Mapping[str, Any]) -> None:
    changed = Patient.objects.filter(pk=patient.pk, version=patient.version).update(**who, version=F("version") + 1)
    if changed != 1:
        raise Conflict.because(patient.code, "the record changed meanwhile", accepted="look again", rule="version")
    for name, value in who.items():
        old, new = (digest_of(canonical_text(one)) for one in (getattr(patient, name), value))
        doing.wrote(patient.code, name, old=old, new=new)
        setattr(patient, name, value)
    patient.version += 1
