"""Runs the tests; pytest takes this process over, so that its exit code and its signals are the command's."""

from __future__ import annotations

import os
import sys
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand

MOST_PROCESSES = 4
REPORT = ("--junitxml", "--junit-xml")


class Command(BaseCommand):
    """`test [--all] [--junitxml FILE] [pytest arguments]`: every suite that can run here."""

    help = "Run the tests. --all fails when a suite cannot run here. All else goes to pytest."
    requires_system_checks = ()

    def run_from_argv(self, argv: list[str]) -> None:
        """Hand the arguments over as they are: they are pytest's, not Django's."""
        self.execute_pytest(argv[2:])

    def handle(self, *args: Any, **options: Any) -> None:
        """Run everything, when called from Python."""
        self.execute_pytest([])

    def execute_pytest(self, arguments: list[str]) -> None:
        """Become pytest in the project's folder."""
        given = [*shared_by_cores(arguments), *with_absolute_report(arguments)]
        os.chdir(settings.ROOT)
        # The tests bring a home and settings of their own.
        os.environ.pop("DJANGO_SETTINGS_MODULE", None)
        os.environ.pop("DOSEWRIGHT_HOME", None)
        sys.stdout.flush()
        os.execve(sys.executable, [sys.executable, "-m", "pytest", *given], os.environ)


def shared_by_cores(arguments: list[str]) -> list[str]:
    """Return the options that share a whole run among the cores, file by file; nothing for a run of chosen tests."""
    chosen = any(one.startswith(("-n", "-p", "-k", "--pdb", "--co", "tests")) for one in arguments)
    cores = min(os.cpu_count() or 1, MOST_PROCESSES)
    return [] if chosen or cores == 1 else ["-n", str(cores), "--dist", "loadfile", "--no-loadscope-reorder"]


def with_absolute_report(arguments: list[str]) -> list[str]:
    """Return the arguments with the path of the report made absolute, since the folder changes."""
    given = []
    for before, one in zip(["", *arguments], arguments, strict=False):
        name, equals, value = one.partition("=")
        if name in REPORT and equals:
            given.append(f"{name}={os.path.abspath(value)}")
        else:
            given.append(os.path.abspath(one) if before in REPORT else one)
    return given
