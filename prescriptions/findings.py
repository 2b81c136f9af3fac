"""What screening found: one alert with its value, the limit it was held to, and where the limit is from."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

HOUSE: Final = "house rule, common practice or judgement, no source"
"""The source of a rule that nobody has published."""


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


def alert(
    rule: str,
    severity: Severity,
    place: str,
    message: str,
    value: str | None = None,
    limit: str | None = None,
    unit: str | None = None,
    *,
    source: str = HOUSE,
) -> Finding:
    """Return one alert of ``rule`` on the fact ``place``; where no ``source`` is named the rule is the house's."""
    return Finding(
        rule=rule,
        severity=severity,
        field=place,
        message=message,
        source=source,
        value=value,
        limit=limit,
        unit=unit,
    )
