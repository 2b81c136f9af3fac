"""Prepares the home; the packages are there already, for the bootstrap came first."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand


class Command(BaseCommand):
    """`setup`: packages into .venv (done by the bootstrap), database to its newest form, checks."""

    help = "Install the locked packages into .venv, bring the home's database up to date and check it."
    requires_system_checks = ()

    def handle(self, *args: Any, **options: Any) -> None:
        """Migrate, then check."""
        call_command("migrate", interactive=False, verbosity=0)
        call_command("check")
        self.stdout.write(f"Ready: {settings.DOSEWRIGHT_HOME}")
