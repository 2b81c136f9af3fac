"""Tables of the order side."""

from prescriptions.models.orders import (
    Alert,
    DoseLine,
    Order,
    OrderRemark,
    OrderVersion,
    RegimenStep,
    ScreenReport,
)
from prescriptions.models.patients import Allergy, BodyMeasure, Patient, PatientIdentifier
from prescriptions.models.substances import DoseLimit, Substance, SubstanceName

__all__ = [
    "Alert",
    "Allergy",
    "BodyMeasure",
    "DoseLimit",
    "DoseLine",
    "Order",
    "OrderRemark",
    "OrderVersion",
    "Patient",
    "PatientIdentifier",
    "RegimenStep",
    "ScreenReport",
    "Substance",
    "SubstanceName",
]
