"""The roof's Django app: sees everything, holds no tables."""

from __future__ import annotations

from django.apps import AppConfig
from django.conf import settings


class RoofConfig(AppConfig):
    """Pages, REST, commands, checks."""

    name = "dosewright.roof"
    label = "roof"

    def ready(self) -> None:
        from dosewright.roof import checks  # noqa: F401

        if settings.DOSEWRIGHT_REDIS_URL:
            from dosewright.roof import celery  # noqa: F401  makes our app the one that `wake` sends with
