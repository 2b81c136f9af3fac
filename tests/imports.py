"""The example files of orders (invented) with their days counted from any day."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

EXAMPLES = Path(__file__).parents[1] / "fixtures" / "imports"
WRITTEN_ON = date(2026, 3, 2)
"""The day from which the examples are written; all other days of that year are counted from it."""

_DAY = re.compile(rb"2026-[0-9]{2}-[0-9]{2}")


def example(name: str, today: date = WRITTEN_ON) -> bytes:
    """Return an example as if it had been written on `today`."""
    shift = today - WRITTEN_ON

    def moved(match: re.Match[bytes]) -> bytes:
        return (date.fromisoformat(match[0].decode()) + shift).isoformat().encode()

    return _DAY.sub(moved, (EXAMPLES / name).read_bytes())
