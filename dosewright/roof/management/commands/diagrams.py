"""Draws the state diagrams into DEVELOPERS.md, or checks that they are those of the tables."""

from __future__ import annotations

import sys
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandParser

from dosewright.ground.diagrams import replaced


class Command(BaseCommand):
    """python3 manage.py diagrams [--check]"""

    help = "draw the state diagrams of DEVELOPERS.md from the tables; --check only compares"
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--check", action="store_true", help="exit 1 when the guide is not up to date")

    def handle(self, *args: Any, **options: Any) -> None:
        path = settings.ROOT / "DEVELOPERS.md"
        guide = path.read_text(encoding="utf-8")
        drawn = replaced(guide)
        if options["check"]:
            if drawn != guide:
                self.stderr.write("DEVELOPERS.md shows other states than the tables: run `python3 manage.py diagrams`")
                sys.exit(1)
            return
        path.write_text(drawn, encoding="utf-8")
