"""Doors and looks of this app: every action on patients, substances, orders and alerts, for REST and pages."""

from prescriptions.api import checks, importing, looks, orders, patients, substances

__all__ = ["checks", "importing", "looks", "orders", "patients", "substances"]
