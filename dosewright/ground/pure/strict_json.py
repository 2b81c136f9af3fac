"""The one JSON parser behind every door: what it cannot take exactly, it refuses.

JSON as commonly read lies: of two equal names the last wins, NaN is let through, 1E+999 becomes infinity,
0.1 becomes a binary fraction, and 100,000 brackets end the process. Every number here is a `Decimal`.
Grammar: RFC 8259 (JSON); UTF-8 without byte order mark: RFC 8259, section 8.1; unique names: RFC 7493
(I-JSON), section 2.3; no lone surrogates: RFC 7493, section 2.1.
"""

from __future__ import annotations

import json
import re
from decimal import Decimal
from typing import Any, Final, NoReturn

from dosewright.ground.pure.errors import BadInput

MAX_BYTES: Final = 1_000_000
MAX_DEPTH: Final = 32
MAX_DIGITS: Final = 20

_FIELD: Final = "body"
_STRUCTURE: Final = re.compile(r'\\.|["\[\]{}]', re.DOTALL)
_SHOWN: Final = 40


def parse(
    data: bytes,
    *,
    max_bytes: int = MAX_BYTES,
    max_depth: int = MAX_DEPTH,
    max_digits: int = MAX_DIGITS,
) -> Any:
    """Return the value of one JSON text, with every number as a `Decimal`.

    ``data`` [bytes] the whole text; ``max_bytes`` [bytes, >= 1], ``max_depth`` [levels, 1 to 100] and
    ``max_digits`` [digits, >= 1] are the most that is taken; an exponent's size is held to ``max_digits``
    too. Raises BadInput on field "body" that says what was found and where.
    """
    if len(data) > max_bytes:
        _refuse("the body is too long", value=len(data), limit=max_bytes, unit="byte", rule="too-long")
    text = _decoded(data)
    _check_depth(text, max_depth)
    try:
        value = json.loads(
            text,
            object_pairs_hook=_object,
            parse_constant=_refuse_constant,
            parse_float=lambda number: _number(number, max_digits),
            parse_int=lambda number: _number(number, max_digits),
        )
    except json.JSONDecodeError as error:
        place = f"line {error.lineno}, column {error.colno}"
        _refuse(f"no JSON: {error.msg} at {place}", accepted="one JSON text", rule="no-json")
    _check_strings(value)
    return value


def _refuse(
    message: str,
    *,
    rule: str,
    value: object = None,
    limit: object = None,
    unit: str | None = None,
    accepted: str | None = None,
) -> NoReturn:
    raise BadInput.because(
        _FIELD,
        message,
        value=None if value is None else _shown(str(value)),
        limit=None if limit is None else str(limit),
        unit=unit,
        accepted=accepted or (None if limit is None else f"at most {limit} {unit}s"),
        rule=rule,
    )


def _shown(text: str) -> str:
    clean = text.encode("utf-8", "backslashreplace").decode("utf-8")
    return clean if len(clean) <= _SHOWN else f"{clean[:_SHOWN]}... ({len(text)} characters)"


def _decoded(data: bytes) -> str:
    if data.startswith(b"\xef\xbb\xbf"):
        _refuse("a byte order mark stands at byte 0", accepted="UTF-8 without it", rule="byte-order-mark")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        found = data[error.start : error.end].hex(" ")
        _refuse(f"no UTF-8 at byte {error.start}", value=found, accepted="UTF-8", rule="no-utf-8")
    if not text.strip():
        _refuse("the body is empty", accepted="one JSON text", rule="empty")
    return text


def _check_depth(text: str, max_depth: int) -> None:
    """Count brackets without recursion, so that the recursive parser never sees more than `max_depth`."""
    depth, in_string = 0, False
    for match in _STRUCTURE.finditer(text):
        mark = match.group()
        if mark == '"':
            in_string = not in_string
        elif in_string or mark[0] == "\\":
            continue
        elif mark in "[{":
            depth += 1
            if depth > max_depth:
                message = f"brackets are nested too deep at character {match.start()}"
                _refuse(message, value=f"over {max_depth}", limit=max_depth, unit="level", rule="too-deep")
        else:
            depth -= 1


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        beside = ", ".join(sorted(set(names) - {twice})) or "nothing else"
        message = f'the name "{_shown(twice)}" stands twice in one object (beside {_shown(beside)})'
        _refuse(message, value=twice, accepted="each name once", rule="name-twice")
    return found


def _refuse_constant(name: str) -> NoReturn:
    _refuse(f"{name} is no JSON number", value=name, accepted="a finite decimal number", rule="no-number")


def _number(text: str, max_digits: int) -> Decimal:
    mantissa, _, exponent = text.lower().partition("e")
    digits = sum(character.isdigit() for character in mantissa)
    if digits > max_digits:
        _refuse("a number has too many digits", value=text, limit=max_digits, unit="digit", rule="digits")
    exponent_digits = exponent.lstrip("+-").lstrip("0")
    if len(exponent_digits) > len(str(max_digits)) or int(exponent_digits or "0") > max_digits:
        accepted = f"an exponent of at most {max_digits} either way, or none"
        _refuse("an exponent is out of range", value=text, limit=max_digits, accepted=accepted, rule="exponent")
    return Decimal(text)


def _check_strings(value: Any) -> None:
    """Refuse text that UTF-8 (lone surrogates) or a database (NUL) cannot hold, without recursion."""
    waiting = [value]
    while waiting:
        one = waiting.pop()
        if isinstance(one, dict):
            waiting.extend(one.keys())
            waiting.extend(one.values())
        elif isinstance(one, list):
            waiting.extend(one)
        elif isinstance(one, str) and any(mark == "\0" or "\ud800" <= mark <= "\udfff" for mark in one):
            _refuse("a text holds NUL or half a character", value=one, accepted="whole text", rule="text")
