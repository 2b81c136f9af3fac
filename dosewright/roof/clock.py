"""The one clock of pages, REST, commands and workers.

A demo home may run ahead of or behind the real time: its walk shows washes and cures that take hours. The file
`demo-clock` in such a home holds the difference in seconds; in any other home it is ignored.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.utils import timezone

MARK = "demo-home"
CLOCK = "demo-clock"


def now() -> datetime:
    """Return the time now, in UTC."""
    return timezone.now() + demo_offset(Path(settings.DOSEWRIGHT_HOME))


def demo_offset(home: Path) -> timedelta:
    """Return by how much a demo home differs from the real time; nothing in any other home."""
    if not (home / MARK).exists():
        return timedelta()
    try:
        return timedelta(seconds=float((home / CLOCK).read_text(encoding="ascii")))
    except (FileNotFoundError, ValueError):
        return timedelta()


def set_demo_offset(home: Path, offset: timedelta) -> None:
    """Set a demo home's difference from the real time; refuses any other home with PermissionError."""
    if not (home / MARK).exists():
        raise PermissionError("only a demo home has a clock of its own")
    half = home / f".{CLOCK}"
    half.write_text(repr(offset.total_seconds()), encoding="ascii")
    half.replace(home / CLOCK)
