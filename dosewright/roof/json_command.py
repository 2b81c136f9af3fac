"""What all commands with ``--json`` share: one document on standard output, refusals with their exit codes."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from dosewright.ground.pure.errors import Refusal, Refused
from dosewright.roof.output import REFUSED, leave_refused, print_json, tell_refusals


class JsonCommand(BaseCommand):
    """A command that answers with a document, as JSON or as `tell` puts it in words."""

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--json", action="store_true", dest="as_json", help="print exactly one JSON document")
        self.add_own_arguments(parser)

    def add_own_arguments(self, parser: CommandParser) -> None:
        """Add what this command takes besides ``--json``."""

    def answer(self, **options: Any) -> Any:
        """Return the document; raises Refused."""
        raise NotImplementedError

    def tell(self, document: Any) -> None:
        """Write the document in words."""
        print_json(document)

    def more_when_refused(self, refused: Refused) -> dict[str, Any]:
        """Return what the document of a refusal says besides the reasons."""
        return {}

    def refused_in(self, document: Any) -> Sequence[Refusal]:
        """Return what was refused of several things of which others were done; the exit code then says so."""
        return ()

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            document = self.answer(**options)
        except Refused as refused:
            leave_refused(refused, as_json=options["as_json"], **self.more_when_refused(refused))
        if options["as_json"]:
            print_json(document)
        else:
            self.tell(document)
        if partly := self.refused_in(document):
            tell_refusals(partly)
            sys.exit(REFUSED)
