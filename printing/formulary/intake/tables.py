"""One TOML table read name by name; every fault is noted with its place instead of stopping at the first."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any, TypeVar

from dosewright.ground.pure.canonical import canonical_text
from dosewright.ground.pure.errors import Refusal

Value = TypeVar("Value")

MOST_DIGITS = 12


class Table:
    """The table at ``path``; ``refusals`` is shared by all tables of one text.

    Methods return a stand-in where they note a refusal; the caller builds nothing while there are any.
    """

    def __init__(self, value: object, path: str, refusals: list[Refusal]) -> None:
        self.path = path
        self.refusals = refusals
        self.left: dict[str, Any] = dict(value) if isinstance(value, dict) else {}
        if not isinstance(value, dict):
            self.refuse("", "is no table", accepted="a table of named values", value=value)

    def refuse(self, name: str, message: str, *, accepted: str, value: object = None) -> None:
        """Note one refusal of `name`."""
        place = ".".join(part for part in (self.path, name) if part) or "formulation"
        shown = None if value is None else str(value)[:60]
        self.refusals.append(
            Refusal(field=place, message=message, value=shown, accepted=accepted, rule="formulation text")
        )

    def _take(self, name: str, kind: type[Value], stand_in: Value, accepted: str, *, needed: bool) -> Value | None:
        value = self.left.pop(name, None)
        if value is None:
            if needed:
                self.refuse(name, "is missing", accepted=accepted)
                return stand_in
            return None
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            self.refuse(name, "is of the wrong kind", accepted=accepted, value=value)
            return stand_in
        return value

    def text(self, name: str, *, most: int = 200, choices: tuple[str, ...] = (), needed: bool = True) -> str:
        """Return a text of 1 to `most` characters, one of `choices` if there are any; "" when not needed."""
        accepted = ", ".join(choices) or f"1 to {most} characters"
        value = self._take(name, str, "", accepted, needed=needed) or ""
        if value and (not value.strip() or len(value) > most or (choices and value not in choices)):
            self.refuse(name, "is not accepted", accepted=accepted, value=value)
        return value.strip()

    def flag(self, name: str) -> bool:
        """Return true or false."""
        return bool(self._take(name, bool, False, "true or false", needed=True))

    def count(self, name: str, *, low: int = 0, high: int = 10_000_000) -> int:
        """Return a whole number from `low` to `high`."""
        return self.maybe_count(name, low=low, high=high, needed=True) or 0

    def maybe_count(self, name: str, *, low: int = 0, high: int = 10_000_000, needed: bool = False) -> int | None:
        """Return a whole number, or None when it is not there."""
        accepted = f"a whole number from {low} to {high}"
        value = self._take(name, int, low, accepted, needed=needed)
        if value is not None and not low <= value <= high:
            self.refuse(name, "is out of range", accepted=accepted, value=value)
        return value

    def number(self, name: str, *, low: str = "0", high: str = "1e9", open_low: bool = False) -> Decimal:
        """Return a decimal from `low` (or above it) to `high`."""
        return self.maybe_number(name, low=low, high=high, open_low=open_low, needed=True) or Decimal(0)

    def maybe_number(
        self, name: str, *, low: str = "0", high: str = "1e9", open_low: bool = False, needed: bool = False
    ) -> Decimal | None:
        """Return a decimal of at most 12 digits, or None when it is not there."""
        accepted = f"a number {'over' if open_low else 'from'} {low} to {high}, at most {MOST_DIGITS} digits"
        value = self.left.get(name)
        if isinstance(value, int) and not isinstance(value, bool):
            self.left[name] = Decimal(value)
        found = self._take(name, Decimal, Decimal(low), accepted, needed=needed)
        if found is None or not isinstance(value, int | Decimal) or isinstance(value, bool):
            return found
        digits = len(found.as_tuple().digits) if found.is_finite() else MOST_DIGITS + 1
        inside = found.is_finite() and Decimal(low) <= found <= Decimal(high)
        if digits > MOST_DIGITS or not inside or (open_low and found == Decimal(low)):
            self.refuse(name, "is out of range", accepted=accepted, value=value)
            return Decimal(low)
        return found

    def pair(self, name: str) -> tuple[Decimal, Decimal]:
        """Return the ``min`` and ``max`` of a small table."""
        inner = Table(self.left.pop(name, None), self._inside(name), self.refusals)
        found = inner.number("min"), inner.number("max")
        inner.end()
        return found

    def texts(self, name: str, *, most: int = 120, needed: bool = True) -> tuple[str, ...]:
        """Return a list of texts."""
        values = self._take(name, list, [], "a list of texts", needed=needed) or []
        if any(not isinstance(one, str) or not 0 < len(one.strip()) <= most for one in values):
            self.refuse(name, "holds something else", accepted=f"texts of 1 to {most} characters", value=values)
            return ()
        return tuple(one.strip() for one in values)

    def counts(self, name: str) -> tuple[int, ...]:
        """Return a list of whole numbers."""
        values = self._take(name, list, [], "a list of whole numbers", needed=True) or []
        if any(not isinstance(one, int) or isinstance(one, bool) for one in values):
            self.refuse(name, "holds something else", accepted="whole numbers", value=values)
            return ()
        return tuple(values)

    def facts(self, name: str) -> Mapping[str, Any]:
        """Return a free table of facts, kept as it stands; it must have a canonical text."""
        value = self._take(name, dict, {}, "a table", needed=True) or {}
        try:
            canonical_text(value)
        except TypeError as error:
            self.refuse(name, str(error), accepted="texts, whole numbers, finite decimals, lists and tables")
        return value

    def table(self, name: str) -> Table:
        """Return the table within."""
        return Table(self.left.pop(name, None), self._inside(name), self.refusals)

    def tables(self, name: str, read: Callable[[Table, int], Value]) -> tuple[Value, ...]:
        """Return what `read` makes of each table of a list, numbered from 1; a list that is not there is empty."""
        values = self._take(name, list, [], "a list of tables", needed=False) or []
        found = []
        for number, value in enumerate(values, start=1):
            inner = Table(value, f"{self._inside(name)}[{number}]", self.refusals)
            found.append(read(inner, number))
            inner.end()
        return tuple(found)

    def names(self) -> tuple[str, ...]:
        """Return the names not read yet."""
        return tuple(self.left)

    def end(self) -> None:
        """Refuse every name that nobody asked for."""
        for name in self.left:
            self.refuse(str(name)[:60], "is not known here", accepted="no such name")
        self.left = {}

    def _inside(self, name: str) -> str:
        return ".".join(part for part in (self.path, name) if part)
