"""The roof's Django app: sees everything, holds no tables."""

from __future__ import annotations

from django.apps import AppConfig


class RoofConfig(AppConfig):
    """Pages, REST, commands, checks."""

    name = "dosewright.roof"
    label = "roof"

    def ready(self) -> None:
        from dosewright.roof import checks  # noqa: F401
