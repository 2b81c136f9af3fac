"""What can be seen by REST and on pages: orders, patients, alerts, substances."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.utils.translation import gettext_lazy as _

from dosewright.ground.pure.roles import Actor
from dosewright.ground.rest import KeysetPage, Look, look
from prescriptions.queries.alerts import AlertFacts
from prescriptions.queries.orders import (
    OrderRow,
    alerts_page,
    one_alert,
    one_order,
    orders_page,
)
from prescriptions.queries.patients import PatientRow, one_patient, patients_page
from prescriptions.queries.substances import SubstanceView, substances_page


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
