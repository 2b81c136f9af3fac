"""App set-up: registers states, work and facts when Django starts."""

from __future__ import annotations

from django.apps import AppConfig


class StockConfig(AppConfig):
    """What is on the shelf and in the tank app."""

    name = "printing.stock"
    label = "stock"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from printing.stock import machines, tasks  # noqa: F401
