"""The exact text that is hashed, signed and chained: sorted keys, decimals as strings, times in UTC."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime, time
from decimal import Decimal
from enum import Enum
from typing import Any


def canonical_text(value: Any) -> str:
    """Return the one JSON text of `value`.

    Keys are sorted, separators carry no blanks, `Decimal` becomes its plain string, aware times become
    UTC ISO 8601 with microseconds. Raises TypeError for floats (they have no one decimal text), naive
    times and anything else that JSON cannot hold.
    """
    return json.dumps(_plain(value), sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def digest_of(text: str | bytes) -> str:
    """Return the SHA-256 of `text` (UTF-8) as 64 hexadecimal digits (FIPS 180-4)."""
    data = text.encode("utf-8") if isinstance(text, str) else text
    return hashlib.sha256(data).hexdigest()


def decimal_text(value: Decimal) -> str:
    """Return `value` without exponent and without trailing zeros after the point ("2.50" -> "2.5")."""
    if not value.is_finite():
        raise TypeError("only finite decimals have a canonical text")
    text = format(value.normalize(), "f")
    return "0" if text in {"-0", "0"} else text


def _plain(value: Any) -> Any:
    if value is None or isinstance(value, bool | str):
        return value
    if isinstance(value, Enum):
        return _plain(value.value)
    if isinstance(value, int):
        return value
    if isinstance(value, Decimal):
        return decimal_text(value)
    if isinstance(value, datetime):
        return utc_text(value)
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {_key(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if is_dataclass(value) and not isinstance(value, type):
        return {one.name: _plain(getattr(value, one.name)) for one in fields(value)}
    raise TypeError(f"{type(value).__name__} has no canonical text")


def _key(key: Any) -> str:
    if not isinstance(key, str):
        raise TypeError("keys of canonical text are strings")
    return key


def utc_text(value: datetime) -> str:
    """Return `value` in UTC, ISO 8601 with microseconds; raises TypeError for a time without a zone."""
    if value.tzinfo is None:
        raise TypeError("a time without a zone has no canonical text")
    return value.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")
