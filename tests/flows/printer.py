"""The training printer as a process of its own: it knows an address and a token, and nothing of the home."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from dosewright.roof.children import Child
from tests.flows.living import Home

SPEED = 300
"""How many times faster than a real printer: some seconds for a small plate."""


@contextmanager
def training_printer(home: Home, token: str, *more: str) -> Iterator[Child]:
    """Run the training printer with its token until the block ends; `more` are options of its own."""
    secret = home.logs.parent / "printer-token"
    secret.touch(mode=0o600)
    secret.write_text(token, encoding="ascii")
    command = [sys.executable, "-m", "dosewright.roof.training_printer", "--url", home.base_url]
    command += ["--token-file", str(secret), "--speed", str(SPEED), *more]
    child = Child("printer", command, env=_bare(), log=home.logs / "printer.log")
    try:
        yield child
        assert child.process.poll() is None, said(home.logs / "printer.log")
    finally:
        child.stop()


def said(log: Path) -> str:
    """Return the end of what the printer told."""
    return log.read_text(encoding="utf-8", errors="replace")[-2000:]


def _bare() -> dict[str, str]:
    """Return an environment that leads to no home and no database."""
    return {"PATH": "/usr/bin:/bin", "PYTHONDONTWRITEBYTECODE": "1"}
