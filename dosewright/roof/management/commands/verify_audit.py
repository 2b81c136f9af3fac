"""Verifies the audit trail, the signatures and the append-only triggers."""

from __future__ import annotations

import sys
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from dosewright.ground.pure.errors import SetupMissing
from dosewright.ground.verify import Findings, verify
from dosewright.roof.homes import the_site
from dosewright.roof.output import REFUSED, leave_refused, print_json


class Command(BaseCommand):
    """python3 manage.py verify_audit [--anchor SITE:LENGTH:DIGEST ...] [--json]"""

    help = "verify the audit trail; exit 1 when a fault was found"

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--json", action="store_true", dest="as_json")
        parser.add_argument(
            "--anchor",
            action="append",
            default=[],
            metavar="SITE:LENGTH:DIGEST",
            help="a head that was kept outside, for instance on a certificate",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        anchors = _anchors(options["anchor"])
        try:
            the_site()
        except SetupMissing as missing:
            leave_refused(missing, as_json=options["as_json"])
        found = verify(anchors)
        if options["as_json"]:
            print_json(
                {
                    "entries": found.entries,
                    "signatures": found.signatures,
                    "chains": found.chains,
                    "faults": found.faults,
                    "head": found.head,
                }
            )
        else:
            self._tell(found)
        if found.faults:
            sys.exit(REFUSED)

    def _tell(self, found: Findings) -> None:
        self.stdout.write(f"{found.entries} entries and {found.signatures} signatures read, head {found.head}")
        for fault in found.faults:
            self.stdout.write(f"FAULT {fault.where}: {fault.what}")


def _anchors(texts: list[str]) -> dict[str, tuple[int, str]]:
    anchors: dict[str, tuple[int, str]] = {}
    for text in texts:
        site, _, rest = text.partition(":")
        length, _, digest = rest.partition(":")
        if not site or not length.isdigit() or len(digest) != 64:
            raise CommandError(f"--anchor {text!r}: accepted is SITE:LENGTH:DIGEST", returncode=2)
        anchors[site] = (int(length), digest)
    return anchors
