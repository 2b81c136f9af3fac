"""App set-up: registers states, work and facts when Django starts."""

from __future__ import annotations

from django.apps import AppConfig


class LabelsConfig(AppConfig):
    """Packs, labels, release, supply and recall. app."""

    name = "labels"
    label = "labels"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from labels import machines, tasks  # noqa: F401
