"""What is on file of a patient's body and state, as frozen facts without names."""

from __future__ import annotations

from dosewright.ground.pure.quantities import plain
from prescriptions.composing import PatientFigures
from prescriptions.intake.order_request import Measure, StatedAllergies
from prescriptions.models import Allergy, BodyMeasure, Patient

FLAGS = {"yes": True, "no": False, "not recorded": None}
"""How a yes, a no and a "nobody said" stand in the tables."""


def flag_text(value: bool | None) -> str:
    """Return how a flag stands in the tables."""
    return {True: "yes", False: "no", None: "not recorded"}[value]


def figures_on_file(patient: Patient) -> PatientFigures:
    """Return the figures of a patient: the latest measures that nobody corrected, the stated allergies."""
    return PatientFigures(
        birth_date=patient.birth_date,
        sex=patient.sex,
        allergies=StatedAllergies(
            status=patient.allergies_recorded,
            entries=tuple(patient.allergies.order_by("pk").values_list("text", flat=True)),
        ),
        swallowing=patient.swallowing,
        weight=latest_measure(patient, BodyMeasure.WEIGHT),
        height=latest_measure(patient, BodyMeasure.HEIGHT),
        largest_unit_mm=None if patient.largest_unit_mm is None else plain(patient.largest_unit_mm),
        feeding_tube=FLAGS[patient.feeding_tube],
        stricture=FLAGS[patient.stricture],
        pregnancy_possible=FLAGS[patient.pregnancy_possible],
    )


def allergies_written(order_code: str) -> tuple[str, ...]:
    """Return the allergies of an order's patient as they were written; empty where none are listed."""
    rows = Allergy.objects.filter(patient__orders__code=order_code).order_by("pk")
    return tuple(rows.values_list("text", flat=True))


def latest_measure(patient: Patient, kind: str) -> Measure | None:
    """Return the latest measure of a kind that no later row corrects: weight [kg] or height [cm]."""
    return next(iter(_measures(patient, kind)[:1]), None)


def weight_before(patient: Patient) -> Measure | None:
    """Return the weight [kg] on file before the latest one, if any."""
    return next(iter(_measures(patient, BodyMeasure.WEIGHT)[1:]), None)


def _measures(patient: Patient, kind: str) -> list[Measure]:
    """Return the two latest measures of a kind that nobody corrected, the latest first."""
    rows = BodyMeasure.objects.filter(patient=patient, kind=kind, corrected_by=None).order_by("-measured_on", "-pk")
    return [Measure(value=plain(row.value), measured_on=row.measured_on) for row in rows[:2]]
