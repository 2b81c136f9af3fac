"""Verifies the audit trail, the signatures, the append-only rows and their triggers; writes them to a file."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from dosewright.ground.offline_verifier import read_anchors
from dosewright.ground.pure.errors import SetupMissing
from dosewright.ground.verify import Anchors, Findings, verify
from dosewright.roof import clock
from dosewright.roof.homes import the_site
from dosewright.roof.output import REFUSED, leave_refused, print_json


class Command(BaseCommand):
    """python3 manage.py verify_audit [--anchor SITE:LENGTH:DIGEST ...] [--export FILE] [--json]"""

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
        parser.add_argument(
            "--export",
            type=Path,
            metavar="FILE",
            help="write what was read to a new file, to be checked elsewhere by offline_verifier.py alone",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        anchors = _anchors(options["anchor"])
        try:
            the_site()
        except SetupMissing as missing:
            leave_refused(missing, as_json=options["as_json"])
        found = _verified(anchors, options["export"])
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
        read = f"{found.entries} entries, {found.signatures} signatures and {found.rows} rows read"
        self.stdout.write(f"{read}, head {found.head}")
        for chain in found.chains:
            self.stdout.write(f"anchor {chain['site']}:{chain['length']}:{chain['head']}")
        for fault in found.faults:
            self.stdout.write(f"FAULT {fault.where}: {fault.what}")


def _anchors(texts: list[str]) -> Anchors:
    try:
        return read_anchors(texts)
    except ValueError as wrong:
        raise CommandError(str(wrong), returncode=2) from wrong


def _verified(anchors: Anchors, export: Path | None) -> Findings:
    try:
        return verify(anchors, export=export, at=clock.now())
    except FileExistsError as there:
        raise CommandError(f"--export {export}: is there already, accepted is a new name", returncode=2) from there
    except OSError as trouble:
        raise CommandError(f"--export {export}: {trouble.strerror}", returncode=2) from trouble
