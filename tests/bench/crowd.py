"""Many orders at once: copies of one that went the real way, for figures about pages; nothing of them is signed.

Copies are written past the services, so the audit trail does not tell of them: never in a home that is kept.
"""

from __future__ import annotations

from typing import Any, TypeVar

from django.db import models

from dosewright.ground.fresh import new_code
from prescriptions.models import Alert, DoseLine, Order, OrderVersion, PatientIdentifier, RegimenStep
from prescriptions.models.orders import ScreenReport

Row = TypeVar("Row", bound=models.Model)


def crowded(order: str, many: int) -> None:
    """Add `many` copies of an order, each with a patient, version, steps, lines and reports of its own."""
    first = Order.objects.get(code=order)
    patients = _copies(first.patient, many, kind="patient")
    _copies_each(PatientIdentifier.objects.filter(patient=first.patient), patients, "patient", number="value")
    orders = _written([_copy(first, code=_fresh("order"), patient=one, reference=f"COPY-{one.pk}") for one in patients])
    for version in OrderVersion.objects.filter(order=first):
        versions = _written([_copy(version, order=one) for one in orders])
        _copies_each(RegimenStep.objects.filter(version=version), versions, "version")
        for line in DoseLine.objects.filter(order_version=version):
            pairs = zip(orders, versions, strict=True)
            _written([_copy(line, code=_fresh("dose line"), order=one, order_version=its) for one, its in pairs])
        _copies_each(ScreenReport.objects.filter(order_version=version), versions, "order_version")
        for alert in Alert.objects.filter(order_version=version):
            _written([_copy(alert, code=_fresh("alert"), order_version=its) for its in versions])


GIVEN: set[str] = set()


def _fresh(kind: str) -> str:
    """Return a code that was not given in this process: among tens of thousands by chance two may be alike."""
    while (code := new_code(kind)) in GIVEN:
        pass
    GIVEN.add(code)
    return code


def _copies(row: Row, many: int, *, kind: str) -> list[Row]:
    return _written([_copy(row, code=_fresh(kind)) for _ in range(many)])


def _copies_each(rows: models.QuerySet[Row], owners: list[Any], name: str, *, number: str = "") -> None:
    for row in rows:
        more = [{number: f"COPY-{one.pk}"} if number else {} for one in owners]
        _written([_copy(row, **{name: one}, **own) for one, own in zip(owners, more, strict=True)])


def _copy(row: Row, **changes: Any) -> Row:
    values = {
        field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields if not field.primary_key
    }
    for name in changes:
        values.pop(f"{name}_id", None)
    return type(row)(**(values | changes))


def _written(rows: list[Row]) -> list[Row]:
    return type(rows[0])._default_manager.bulk_create(rows, batch_size=500) if rows else []
