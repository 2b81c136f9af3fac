"""Reading a JSON object name by name, collecting every refusal with its place instead of stopping at one."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import Any, Final, TypeVar

from dosewright.ground.pure.errors import BadInput, Refusal

Value = TypeVar("Value")

_DATE: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_TIME: Final = re.compile(r"(?:[01][0-9]|2[0-3]):[0-5][0-9]")
_MOMENT: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}(:[0-9]{2})?(Z|[+-][0-9]{2}:[0-9]{2})")
_CONTROL: Final = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")
_SHOWN: Final = 60
_EARLIEST: Final = date(1890, 1, 1)
_LATEST: Final = date(2199, 12, 31)


class Reader:
    """One JSON object at ``path``; ``refusals`` is shared by all readers of one order.

    A method returns None where the name is absent or refused, so that reading goes on and every fault is
    told at once; the caller builds nothing while there are refusals.
    """

    def __init__(self, value: object, path: str, names: Sequence[str], refusals: list[Refusal]) -> None:
        self.path = path
        self.refusals = refusals
        self.is_object = isinstance(value, dict)
        self.found: dict[str, Any] = value if isinstance(value, dict) else {}
        if not self.is_object:
            self.refuse("", "an object is needed", value=value, accepted=f"an object of {', '.join(names)}")
        for name in self.found:
            if name not in names:
                accepted = f"one of {', '.join(names)}"
                self.refuse(shown(name), "the name is not known here", value=name, accepted=accepted, rule="name")

    def place(self, name: str) -> str:
        """Return the path of ``name`` such as "regimen.steps[0].dose"."""
        return ".".join(part for part in (self.path, name) if part) or "order"

    def refuse(self, name: str, message: str, *, value: object = None, accepted: str, rule: str = "invalid") -> None:
        """Note one refusal of ``name``."""
        written = None if value is None else shown(value)
        self.refusals.append(
            Refusal(field=self.place(name), message=message, value=written, accepted=accepted, rule=rule)
        )

    def read(self, name: str, how: Callable[[object, str], Value], *, needed: bool = True) -> Value | None:
        """Return ``how(value, place)`` of ``name``, noting what it refuses; null counts as absent."""
        value = self.found.get(name)
        if value is None:
            if needed and self.is_object:
                self.refuse(name, "this is missing", accepted="a value", rule="missing")
            return None
        try:
            return how(value, self.place(name))
        except BadInput as error:
            self.refusals.extend(error.refusals)
            return None


def shown(value: object) -> str:
    """Return ``value`` short and printable, to stand in a refusal."""
    text = value if isinstance(value, str) else str(value)
    clean = _CONTROL.sub("?", text[:_SHOWN])
    return clean if len(text) <= _SHOWN else f"{clean}... ({len(text)} characters)"


def within(refusals: list[Refusal], read: Callable[[object, str, list[Refusal]], Any]) -> Callable[[object, str], Any]:
    """Return a reader of a nested value, which notes its refusals on the one list."""
    return lambda value, place: read(value, place, refusals)


def built(kind: Callable[..., Any], parts: Mapping[str, object], *needed: str) -> Any:
    """Return ``kind`` of ``parts``, or None where one that is ``needed`` was refused and noted already."""
    return None if any(parts[name] is None for name in needed) else kind(**parts)


def item_of(how: Callable[[object, str], Any], value: object, place: str, refusals: list[Refusal]) -> Any:
    """Return one item of a list, or None once its refusal is noted."""
    try:
        return how(value, place)
    except BadInput as error:
        refusals.extend(error.refusals)
        return None


def without_none(**names: Any) -> dict[str, Any]:
    """Return ``names`` without those that are None: what is not recorded is left out."""
    return {name: value for name, value in names.items() if value is not None}


def text_of(longest: int) -> Callable[[object, str], str]:
    """Return a reader of one line of text of 1 to ``longest`` characters."""

    def read(value: object, place: str) -> str:
        accepted = f"one line of 1 to {longest} characters"
        if not isinstance(value, str):
            raise BadInput.because(place, "text is needed", value=shown(value), accepted=accepted, rule="text")
        if not value.strip() or len(value) > longest or value != value.strip() or _CONTROL.search(value):
            message = "the text is empty, too long, padded with blanks or holds control characters"
            raise BadInput.because(place, message, value=shown(value), accepted=accepted, rule="text")
        return value

    return read


def choice_of(options: Sequence[str]) -> Callable[[object, str], str]:
    """Return a reader of one of ``options``, spelt exactly so."""

    def read(value: object, place: str) -> str:
        if not isinstance(value, str) or value not in options:
            accepted = f"one of {', '.join(options)}"
            raise BadInput.because(place, "this is not taken", value=shown(value), accepted=accepted, rule="choice")
        return value

    return read


def read_flag(value: object, place: str) -> bool:
    """Read true or false."""
    if not isinstance(value, bool):
        accepted = "true, false, or leave it out for not recorded"
        raise BadInput.because(place, "true or false is needed", value=shown(value), accepted=accepted, rule="flag")
    return value


def read_count(value: object, place: str) -> int:
    """Read a whole number from 1 to 9999."""
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        count = 0
    else:
        count = int(value) if Decimal(value).is_finite() and value % 1 == 0 else 0
    if not 1 <= count <= 9999:
        message = "a whole number is needed"
        raise BadInput.because(place, message, value=shown(value), accepted="1 to 9999", rule="number")
    return count


def read_list(value: object, place: str) -> list[Any]:
    """Read a list that is not empty."""
    if not isinstance(value, list) or not value:
        accepted = "a list of at least one"
        raise BadInput.because(place, "a list is needed", value=shown(value), accepted=accepted, rule="list")
    return value


def read_date(value: object, place: str) -> date:
    """Read a day as year-month-day (RFC 3339 full-date)."""
    day = _parsed(value, _DATE, date.fromisoformat)
    if day is None or not _EARLIEST <= day <= _LATEST:
        accepted = "a day such as 2026-03-31"
        raise BadInput.because(place, "this is no day", value=shown(value), accepted=accepted, rule="date")
    return day


def read_time(value: object, place: str) -> time:
    """Read a local clock time of 24 hours."""
    at = _parsed(value, _TIME, time.fromisoformat)
    if at is None:
        accepted = "a time such as 07:00"
        raise BadInput.because(place, "this is no clock time", value=shown(value), accepted=accepted, rule="time")
    return at


def read_moment(value: object, place: str) -> datetime:
    """Read a moment with its offset (RFC 3339 date-time) and return it in UTC."""
    moment = _parsed(value, _MOMENT, datetime.fromisoformat)
    if moment is None or not _EARLIEST < moment.date() < _LATEST:
        accepted = "a moment with offset such as 2026-03-31T15:00:00+01:00"
        raise BadInput.because(place, "this is no moment", value=shown(value), accepted=accepted, rule="moment")
    return moment.astimezone(UTC)


def _parsed(value: object, pattern: re.Pattern[str], parse: Callable[[str], Value]) -> Value | None:
    if not isinstance(value, str) or not pattern.fullmatch(value):
        return None
    try:
        return parse(value)
    except ValueError:
        return None
