"""App set-up: registers states, work and facts when Django starts."""

from __future__ import annotations

from django.apps import AppConfig


class RunsConfig(AppConfig):
    """What was done and measured app."""

    name = "printing.runs"
    label = "runs"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from printing.runs import machines, tasks  # noqa: F401
