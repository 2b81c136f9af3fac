"""App set-up: registers states, work and facts when Django starts."""

from __future__ import annotations

from django.apps import AppConfig


class PrescriptionsConfig(AppConfig):
    """Dose orders app."""

    name = "prescriptions"
    label = "prescriptions"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from prescriptions import machines, tasks  # noqa: F401
