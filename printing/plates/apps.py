"""App set-up: registers states, work and facts when Django starts."""

from __future__ import annotations

from django.apps import AppConfig


class PlatesConfig(AppConfig):
    """Print batches, zones and units app."""

    name = "printing.plates"
    label = "plates"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from printing.plates import machines, tasks  # noqa: F401
