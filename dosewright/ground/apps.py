"""The ground's Django app: installs the append-only triggers, and hears of every row that is added."""

from __future__ import annotations

from django.apps import AppConfig
from django.db.models.signals import post_migrate, post_save


class GroundConfig(AppConfig):
    """Ground app. Two signals, both of the database layer: SQLite drops triggers when it rebuilds a table, and no
    service must be able to forget that it added a row. Facts between the houses go by the outbox."""

    name = "dosewright.ground"
    label = "ground"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        from dosewright.ground import tasks  # noqa: F401
        from dosewright.ground.added import note_added
        from dosewright.ground.triggers import install_after_migrate

        post_migrate.connect(install_after_migrate, dispatch_uid="append-only triggers")
        post_save.connect(note_added, dispatch_uid="rows added by an action")
