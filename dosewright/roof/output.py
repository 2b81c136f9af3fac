"""How the commands answer: one JSON document on standard output, all else on standard error, exit codes."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

from dosewright.ground.pure.errors import Refusal, Refused, SetupMissing
from dosewright.ground.rest import plain

DONE, REFUSED, WRONG_USAGE, SETUP_MISSING = 0, 1, 2, 3


def print_json(document: Any) -> None:
    """Print the one JSON document of a command."""
    sys.stdout.write(json.dumps(plain(document), ensure_ascii=False, allow_nan=False, indent=1) + "\n")


def leave_refused(refused: Refused, *, as_json: bool, **more: Any) -> NoReturn:
    """Tell the refusal in the form asked for and leave with its exit code."""
    if as_json:
        print_json({"refused": [one.as_dict() for one in refused.refusals], **more})
    tell_refusals(refused.refusals)
    sys.exit(SETUP_MISSING if isinstance(refused, SetupMissing) else REFUSED)


def tell_refusals(refusals: Sequence[Refusal]) -> None:
    """Write each refusal on a line of standard error."""
    for one in refusals:
        wants = f" Accepted: {one.accepted}." if one.accepted else ""
        sys.stderr.write(f"refused: {one.field}: {one.message}.{wants}\n")
