"""What can be seen of patients, substances and orders: frozen facts, never rows."""

from prescriptions.queries.alerts import AlertFacts
from prescriptions.queries.facts import (
    LabelPatient,
    LineFacts,
    LineToPlan,
    OrderFacts,
    PatientFit,
    SignatureFacts,
    label_patient,
    line_facts,
    lines_to_plan,
    order_facts,
    order_state,
)
from prescriptions.queries.moiety import daily_elsewhere_mg

__all__ = [
    "AlertFacts",
    "LabelPatient",
    "LineFacts",
    "LineToPlan",
    "OrderFacts",
    "PatientFit",
    "SignatureFacts",
    "daily_elsewhere_mg",
    "label_patient",
    "line_facts",
    "lines_to_plan",
    "order_facts",
    "order_state",
]
