"""Leaves work to screen a patient's orders again when what is known of the patient changed."""

from __future__ import annotations

from dosewright.ground.act import Act
from prescriptions.models import Order, Patient
from prescriptions.states import ACTIVE

__all__ = ["ACTIVE", "screen_orders_of"]


def screen_orders_of(doing: Act, patient: Patient, *, but: str = "") -> None:
    """Leave one piece of work per active order of `patient`, except the order of code `but`."""
    codes = Order.objects.filter(patient=patient, state__in=ACTIVE).exclude(code=but).order_by("code")
    for code in codes.values_list("code", flat=True):
        doing.enqueue("screen order", key=f"screen {code} {doing.at.isoformat()} {doing.action}", order=code)
