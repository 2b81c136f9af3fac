"""Serves the site: two child processes, web and worker, watched and restarted."""

from __future__ import annotations

import signal
import sys
import time
from types import FrameType
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandParser

from dosewright.roof.children import Child, manage, wait_for, web


class Command(BaseCommand):
    """python3 manage.py serve [--port N]"""

    help = "serve the site and run its background work until stopped"

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--port", type=int, default=8000)

    def handle(self, *args: Any, **options: Any) -> None:
        call_command("migrate", verbosity=0)
        call_command("check", databases=["default"])
        serve(options["port"])


def serve(port: int) -> None:
    """Run web and worker until a signal; a child that dies is started again."""
    commands = {"web": web(port), "work": manage("work")}
    children = {name: Child(name, command) for name, command in commands.items()}
    signal.signal(signal.SIGTERM, _leave)
    try:
        if not wait_for(f"http://127.0.0.1:{port}/health/alive", children["web"]):
            sys.stderr.write(f"the web server did not start on port {port}: is the port taken?\n")
            sys.exit(1)
        sys.stderr.write(f"Dosewright answers at http://127.0.0.1:{port}/ (home {settings.DOSEWRIGHT_HOME})\n")
        while True:
            time.sleep(0.5)
            for name, child in children.items():
                if child.process.poll() is not None:
                    sys.stderr.write(f"{name} ended with {child.process.returncode}, starting it again\n")
                    children[name] = Child(name, commands[name])
    except KeyboardInterrupt:
        pass
    finally:
        for child in children.values():
            child.stop()


def _leave(number: int, frame: FrameType | None) -> None:
    raise KeyboardInterrupt
