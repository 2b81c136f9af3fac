"""Takes invented orders the whole way before your eyes, then serves the site.

The demo works in a home of its own: this process only prepares the folder and becomes the demo inside it.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser

from dosewright.ground.pure.errors import Refused
from dosewright.roof.children import free_port
from dosewright.roof.demo.folder import fresh_folder
from dosewright.roof.output import leave_refused

INSIDE = "DOSEWRIGHT_X_DEMO"
ELSEWHERE = ("DOSEWRIGHT_DATABASE_URL", "DOSEWRIGHT_REDIS_URL", "DOSEWRIGHT_SECRET_KEY")


class Command(BaseCommand):
    """python3 manage.py demo [--dir DIR] [--orders FILE] [--once] [--port N]"""

    help = "walk a dozen invented orders (or those of FILE) from prescription to supply, then serve the site"
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--dir", type=Path, default=settings.ROOT / "var" / "demo", metavar="DIR")
        parser.add_argument("--orders", type=Path, metavar="FILE", help="order JSON (a list), CSV or FHIR R4")
        parser.add_argument("--once", action="store_true", help="leave after the walk")
        parser.add_argument("--port", type=int, metavar="N", help="default 8000, any free one with --once")

    def handle(self, *args: Any, **options: Any) -> None:
        home = options["dir"].expanduser().absolute()
        if os.environ.get(INSIDE) == str(home):
            self._inside(home, options)
            return
        orders = _readable(options["orders"])
        try:
            fresh_folder(home)
        except Refused as refused:
            leave_refused(refused, as_json=False)
        _become_inside(home, orders, options)

    def _inside(self, home: Path, options: dict[str, Any]) -> None:
        from dosewright.roof.demo.walk import walk
        from dosewright.roof.management.commands.serve import serve

        call_command("migrate", verbosity=0)
        call_command("check", databases=["default"])
        port = options["port"] or (free_port() if options["once"] else 8000)
        try:
            walk(home, orders_file=options["orders"], port=port)
        except Refused as refused:
            leave_refused(refused, as_json=False)
        if not options["once"]:
            serve(port)


def _readable(orders: Path | None) -> Path | None:
    """Return the absolute path of the orders' file; wrong usage when it cannot be read."""
    if orders is None:
        return None
    path = orders.expanduser().absolute()
    if not path.is_file():
        raise CommandError(f"--orders {orders}: no such file", returncode=2)
    return path


def _become_inside(home: Path, orders: Path | None, options: dict[str, Any]) -> None:
    """Become the demo with its own home, on SQLite and without a broker whatever the surroundings say."""
    environment = {name: value for name, value in os.environ.items() if name not in ELSEWHERE}
    environment |= {"DOSEWRIGHT_HOME": str(home), INSIDE: str(home)}
    arguments = [sys.executable, str(settings.ROOT / "manage.py"), "demo", "--dir", str(home)]
    arguments += ["--orders", str(orders)] if orders else []
    arguments += ["--port", str(options["port"])] if options["port"] else []
    arguments += ["--once"] if options["once"] else []
    sys.stdout.flush()
    sys.stderr.flush()
    os.execve(sys.executable, arguments, environment)
