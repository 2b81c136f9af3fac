"""What screening found: one alert with its value, the limit it was held to, and where the limit is from."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """What an alert asks for before the order can go on."""

    BLOCK = "block"
    REASON = "reason"
    INFORM = "inform"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One alert: ``rule`` a stable slug, ``field`` the fact it concerns, ``value`` against ``limit``."""

    rule: str
    severity: Severity
    field: str
    message: str
    source: str
    value: str | None = None
    limit: str | None = None
    unit: str | None = None
