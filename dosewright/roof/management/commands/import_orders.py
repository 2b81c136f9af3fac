"""Imports a file of orders: CSV, the order JSON or FHIR R4."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandError, CommandParser

from dosewright.ground.pure.errors import Refusal
from dosewright.roof import clock
from dosewright.roof.homes import acting
from dosewright.roof.json_command import JsonCommand
from prescriptions.intake.drafts import UNSENT
from prescriptions.intake.files import MOST_BYTES_OF_FILE
from prescriptions.services import ImportAnswer, import_file


class Command(JsonCommand):
    """python3 manage.py import_orders FILE --as USER [--source NAME] [--json]"""

    help = "import a file of orders; each waits for its prescriber, or for a pharmacist who saw the original"

    def add_own_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "file", type=Path, metavar="FILE", help="CSV, the order JSON (one or a list), or FHIR R4 JSON"
        )
        parser.add_argument("--as", dest="username", required=True, metavar="USER", help="who brings the file")
        parser.add_argument("--source", default=UNSENT, metavar="NAME", help="who sent it, where the file does not say")

    def answer(self, **options: Any) -> ImportAnswer:
        data = _content(options["file"])
        actor = acting(options["username"])
        return import_file(actor, data=data, source=options["source"], max_bytes=MOST_BYTES_OF_FILE, at=clock.now())

    def tell(self, document: ImportAnswer) -> None:
        for order in document.orders:
            where = f"lines {', '.join(map(str, order.lines))}" if order.lines else order.source
            became = f"{order.code} {order.state}{', had come before' if order.repeated else ''}"
            self.stdout.write(f"{order.reference} ({where}): {became if order.code else 'refused'}")
            for note in order.notes:
                self.stdout.write(f"    {note}")

    def refused_in(self, document: ImportAnswer) -> tuple[Refusal, ...]:
        """Return every refusal: whoever takes the exit code alone must not think that all came in."""
        return document.refused


def _content(path: Path) -> bytes:
    """Return the bytes of a file, one more than is taken at most; wrong usage where it cannot be read."""
    try:
        with path.expanduser().open("rb") as file:
            return file.read(MOST_BYTES_OF_FILE + 1)
    except OSError as trouble:
        raise CommandError(f"{path}: {trouble.strerror}", returncode=2) from trouble
