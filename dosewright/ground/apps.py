"""The ground's Django app: installs the append-only triggers after every migration."""

from __future__ import annotations

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class GroundConfig(AppConfig):
    """Ground app; the one signal in the house re-installs triggers, for SQLite drops them when it rebuilds a table."""

    name = "dosewright.ground"
    label = "ground"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from dosewright.ground import tasks  # noqa: F401
        from dosewright.ground.triggers import install_after_migrate

        post_migrate.connect(install_after_migrate, dispatch_uid="append-only triggers")
