"""Takes the patient of an order: found by code or number, or taken on, with what the order states of them."""

from __future__ import annotations

from typing import Any

from dosewright.ground.act import Act
from dosewright.ground.fresh import new_code
from dosewright.ground.pure.errors import Conflict, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find
from prescriptions.intake.order_request import (
    KnownPatient,
    Measure,
    StatedAllergies,
    StatedPatient,
)
from prescriptions.models import Allergy, BodyMeasure, Patient, PatientIdentifier, Substance
from prescriptions.queries.figures import flag_text
from prescriptions.queries.naming import names_on_file, tidy_name
from prescriptions.screening.likeness import folded

FLAGS = ("feeding_tube", "stricture", "pregnancy_possible")
"""Facts that are yes, no or not recorded."""


def take_patient(doing: Act, stated: StatedPatient | KnownPatient) -> Patient:
    """Return the patient an order is for: by code, by identifier, or taken on; new facts are kept.

    Raises NotThere for an unknown code and Conflict where the identifier belongs to somebody else, or
    where "no allergies" is said of a patient with allergies on file.
    """
    if isinstance(stated, KnownPatient):
        return find(doing.actor, Patient, stated.code)
    patient = by_identifier(doing.actor, stated)
    if patient is None:
        return create_patient(doing, new_code("patient"), stated)
    refuse_if_any(Conflict, _mismatches(patient, stated))
    _renew(doing, patient, stated)
    return patient


def by_identifier(actor: Actor, stated: StatedPatient) -> Patient | None:
    """Return the patient of the site who has the identifier stated, if any."""
    found = PatientIdentifier.objects.select_related("patient").filter(
        site_id=actor.site_id, system=stated.identifier.system, value=stated.identifier.value
    )
    row = found.first()
    return None if row is None else row.patient


def create_patient(doing: Act, code: str, stated: StatedPatient) -> Patient:
    """Take a patient on under `code`, with identifier, allergies and measures as stated."""
    patient = Patient.objects.create(
        code=code,
        site_id=doing.actor.site_id,
        family_name=stated.family_name,
        given_name=stated.given_name,
        birth_date=stated.birth_date,
        sex=stated.sex,
        swallowing=stated.swallowing,
        largest_unit_mm=stated.largest_unit_mm,
        allergies_recorded=stated.allergies.status,
        registered_at=doing.at,
        **{name: flag_text(getattr(stated, name)) for name in FLAGS},
    )
    PatientIdentifier.objects.create(
        site_id=doing.actor.site_id,
        patient=patient,
        system=stated.identifier.system,
        value=stated.identifier.value,
    )
    _add_allergies(doing, patient, stated.allergies)
    _add_measures(doing, patient, stated)
    doing.note(patient=code, patient_new=True)
    return patient


def _renew(doing: Act, patient: Patient, stated: StatedPatient) -> None:
    """Keep what the order says anew; what it leaves open does not wipe what is on file."""
    new: dict[str, Any] = {}
    if stated.swallowing not in {"not assessed", patient.swallowing}:
        new["swallowing"] = stated.swallowing
    if stated.largest_unit_mm is not None and stated.largest_unit_mm != patient.largest_unit_mm:
        new["largest_unit_mm"] = stated.largest_unit_mm
    for name in FLAGS:
        said = getattr(stated, name)
        if said is not None and flag_text(said) != getattr(patient, name):
            new[name] = flag_text(said)
    if stated.allergies.status not in {"not recorded", patient.allergies_recorded}:
        new["allergies_recorded"] = stated.allergies.status
    if new:
        doing.change(patient, **new)
    _add_allergies(doing, patient, stated.allergies)
    _add_measures(doing, patient, stated)
    doing.note(patient=patient.code)


def _mismatches(patient: Patient, stated: StatedPatient) -> list[Refusal]:
    """Compare without telling what is on file: the refusal names fields only."""
    accepted = "the names and birth date on file, or a correction of the patient first"
    pairs = (
        ("family_name", folded(patient.family_name) == folded(stated.family_name)),
        ("given_name", folded(patient.given_name) == folded(stated.given_name)),
        ("birth_date", patient.birth_date == stated.birth_date),
        ("sex", "unknown" in {patient.sex, stated.sex} or patient.sex == stated.sex),
    )
    found = [
        Refusal(
            field=f"patient.{name}",
            message="the identifier belongs to a patient with another one",
            accepted=accepted,
            rule="wrong-patient",
        )
        for name, agrees in pairs
        if not agrees
    ]
    if stated.allergies.status == "none" and patient.allergies_recorded == "listed":
        found.append(
            Refusal(
                field="patient.allergies",
                message="allergies are on file, and the order says none",
                value="none",
                accepted="the allergies listed, or a correction of the patient first",
                rule="allergies-contradict",
            )
        )
    return found


def _add_allergies(doing: Act, patient: Patient, stated: StatedAllergies) -> None:
    if not stated.entries:
        return
    site_id = doing.actor.site_id
    named = names_on_file(site_id)
    on_file = {folded(text) for text in patient.allergies.values_list("text", flat=True)}
    for text in stated.entries:
        if folded(text) in on_file:
            continue
        substance = Substance.objects.filter(site_id=site_id, name=named.get(tidy_name(text), "")).first()
        Allergy.objects.create(
            patient=patient, text=text, substance=substance, entered_by_id=doing.actor.user_id, entered_at=doing.at
        )


def _add_measures(doing: Act, patient: Patient, stated: StatedPatient) -> None:
    stated_measures = {BodyMeasure.WEIGHT: stated.weight, BodyMeasure.HEIGHT: stated.height}
    given = {kind: one for kind, one in stated_measures.items() if one is not None}
    days = {one.measured_on for one in given.values()}
    standing = BodyMeasure.objects.filter(patient=patient, measured_on__in=days, corrected_by=None)
    on_file = set(standing.values_list("kind", "value", "measured_on")) if given else set()
    for kind, measure in given.items():
        if (kind, measure.value, measure.measured_on) not in on_file:
            add_measure(doing, patient, kind, measure)


def add_measure(
    doing: Act, patient: Patient, kind: str, measure: Measure, *, corrects: BodyMeasure | None = None
) -> BodyMeasure:
    """Add one measure in house units (kg, cm); a correction names the row it replaces."""
    unit = {BodyMeasure.WEIGHT: "kg", BodyMeasure.HEIGHT: "cm"}[kind]
    row = BodyMeasure.objects.create(
        code=new_code("body measure"),
        patient=patient,
        kind=kind,
        value=measure.value,
        unit=unit,
        measured_on=measure.measured_on,
        entered_by_id=doing.actor.user_id,
        entered_at=doing.at,
        corrects=corrects,
    )
    doing.note(measure=row.code, corrects=None if corrects is None else corrects.code)
    return row
