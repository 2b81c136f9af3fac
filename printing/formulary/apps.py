"""App set-up: registers states, work and facts when Django starts."""

from __future__ import annotations

from django.apps import AppConfig


class FormularyConfig(AppConfig):
    """Approved master formulas, the ingredients they name, print profiles and studies. app."""

    name = "printing.formulary"
    label = "formulary"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from printing.formulary import machines, tasks  # noqa: F401
