"""Traces any code to everything that it touched."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser

from dosewright.roof.homes import acting, first_auditor
from dosewright.roof.json_command import JsonCommand
from labels.trace import trace


class Command(JsonCommand):
    """python3 manage.py trace CODE --as USER [--json]"""

    help = "trace a code (patient, order, pack, unit, lot, person ...) to everything it touched"

    def add_own_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("code", metavar="CODE")
        parser.add_argument("--as", dest="username", metavar="USER", help="who asks; the first auditor when left out")

    def answer(self, **options: Any) -> Any:
        username = options["username"] or first_auditor()
        return trace(acting(username), options["code"])

    def tell(self, document: Any) -> None:
        for node in document.nodes:
            self.stdout.write(f"{node.kind:16} {node.code}")
        for edge in document.edges:
            self.stdout.write(f"    {edge['from']} -> {edge['to']}  {edge['how']}")
