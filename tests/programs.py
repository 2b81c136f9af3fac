"""Finds the programs of the distribution that some suites need."""

import shutil
from pathlib import Path


def find_program(name: str) -> str | None:
    """Return the path of a program, or None; Debian keeps PostgreSQL's servers off the search path."""
    found = shutil.which(name)
    if found and name != "postgres":
        return found
    servers = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"), key=_major, reverse=True)
    return str(servers[0]) if servers else found


def _major(program: Path) -> int:
    return int(program.parts[-3]) if program.parts[-3].isdigit() else 0
