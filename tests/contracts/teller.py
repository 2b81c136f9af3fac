"""Runs many commands one after the other in one process, for tables of cases: starting Python anew takes seconds.

Reads one JSON list of arguments per line and answers with one JSON object per line. Each command is found, parsed
and ended as by ``manage.py``; that both say the same is itself tested.
"""

from __future__ import annotations

import contextlib
import io
import json
import sys

import django

django.setup()

from django.core.management import execute_from_command_line  # noqa: E402


def run(arguments: list[str]) -> dict[str, object]:
    """Run one command and return its exit code and both its outputs."""
    out, err, code = io.StringIO(), io.StringIO(), 0
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            execute_from_command_line(["manage.py", *arguments])
        except SystemExit as leaving:
            code = leaving.code if isinstance(leaving.code, int) else int(leaving.code is not None)
    return {"code": code, "out": out.getvalue(), "err": err.getvalue()}


if __name__ == "__main__":
    for line in sys.stdin:
        sys.stdout.write(json.dumps(run(json.loads(line))) + "\n")
        sys.stdout.flush()
