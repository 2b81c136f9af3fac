"""Doors and looks: each action and each view declared once, for REST, pages and commands alike.

A `Door` is one action a person or program can take: one input serializer, one service call. A `Look` is one
kind of record that can be seen. The REST API and the pages are both made from these; neither has another
way in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from datetime import date, datetime, time
from decimal import Decimal
from enum import Enum
from typing import Any, ClassVar, Generic, TypeVar

from rest_framework import serializers

from dosewright.ground.act import record_refusal
from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.errors import BadInput, Refusal, Refused
from dosewright.ground.pure.roles import ACTIONS, READS, Actor, Rule
from dosewright.ground.signing import Pen, shown_digest

Item = TypeVar("Item")


class Nothing(serializers.Serializer[Any]):
    """The input of a door that needs none."""


class SignedInput(serializers.Serializer[Any]):
    """What every signed door needs: the digest of what was shown, and the password again."""

    shown_digest = serializers.CharField(max_length=64)
    password = serializers.CharField(max_length=200, trim_whitespace=False, style={"input_type": "password"})

    @staticmethod
    def pen(data: Mapping[str, Any]) -> Pen:
        """Return the pen that the input holds."""
        return Pen(password=data["password"], shown_digest=data["shown_digest"])


class Door:
    """One action.

    ``action`` is its name in the roles table ("order.verify"), ``subject`` the kind of record it acts on
    as it stands in URLs ("order"), ``verb`` its place below the record ("verify"); a door with ``creates``
    makes a record of that kind and has no code. ``title`` is what people read on the button. ``needs`` names
    the states of the record in which the door makes sense, where the table of states does not tell it.
    ``media`` names media types that may be sent as they are instead of JSON: the body is then the input's
    ``text``, and the query names the rest.
    """

    action: ClassVar[str]
    subject: ClassVar[str]
    verb: ClassVar[str] = ""
    creates: ClassVar[bool] = False
    title: ClassVar[Any]
    hint: ClassVar[Any] = ""
    needs: ClassVar[tuple[str, ...]] = ()
    media: ClassVar[tuple[str, ...]] = ()
    Input: ClassVar[type[serializers.Serializer[Any]]] = Nothing

    @classmethod
    def rule(cls) -> Rule:
        """Return the rule of the action."""
        return ACTIONS[cls.action]

    def shown(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return the record that a signer is shown; only signed doors have one."""
        raise NotImplementedError(f"{self.action} shows nothing to sign")

    def run(self, actor: Actor, code: str, data: Mapping[str, Any], *, at: datetime) -> Any:
        """Do the action by one service call and return what it answers (a mapping or dataclass)."""
        raise NotImplementedError

    def take(self, actor: Actor, code: str, raw: Any, *, at: datetime) -> Any:
        """Check `raw` against the input serializer, then run; raises BadInput naming every wrong field.

        Whatever is refused leaves an audit row, also when no action was opened yet.
        """
        try:
            return self.run(actor, code, checked(self.Input, raw), at=at)
        except Refused as refused:
            record_refusal(actor, self.action, refused, at=at, subject=code[:40])
            raise

    def shown_with_digest(self, actor: Actor, code: str, *, at: datetime) -> dict[str, Any]:
        """Return what is shown together with the digest that the signer sends back."""
        record = self.shown(actor, code, at=at)
        return {"shown": plain(record), "shown_digest": shown_digest(record)}


class Look:
    """One kind of record that can be seen: one by its code, or a keyset page of them."""

    subject: ClassVar[str]
    reads: ClassVar[str]
    title: ClassVar[Any]
    filters: ClassVar[tuple[str, ...]] = ()

    def one(self, actor: Actor, code: str, *, at: datetime) -> Any:
        """Return the record of `code` as a frozen dataclass; raises NotThere, NotAllowed."""
        raise NotImplementedError

    def page(
        self, actor: Actor, *, after: str, limit: int, filters: Mapping[str, str], at: datetime
    ) -> KeysetPage[Any]:
        """Return the page of records that follow the key `after`."""
        raise NotImplementedError


@dataclass(frozen=True, slots=True, kw_only=True)
class KeysetPage(Generic[Item]):
    """One page of records and the key to ask for the next one with (empty at the end)."""

    items: Sequence[Item]
    next_after: str = ""


DOORS: dict[str, type[Door]] = {}
LOOKS: dict[str, type[Look]] = {}


def door(cls: type[Door]) -> type[Door]:
    """Register a door; its action must stand in the roles table."""
    if cls.action not in ACTIONS:
        raise ValueError(f"{cls.action} is not in the roles table")
    key = f"{cls.subject}/{cls.verb}" if not cls.creates else f"{cls.subject}+{cls.verb}"
    if key in DOORS:
        raise ValueError(f"two doors at {key}")
    DOORS[key] = cls
    return cls


def look(cls: type[Look]) -> type[Look]:
    """Register a look; its view must stand in the roles table."""
    if cls.reads not in READS:
        raise ValueError(f"{cls.reads} is not in the table of views")
    if cls.subject in LOOKS:
        raise ValueError(f"two looks at {cls.subject}")
    LOOKS[cls.subject] = cls
    return cls


def checked(serializer: type[serializers.Serializer[Any]], raw: Any) -> dict[str, Any]:
    """Return the validated input; raises BadInput naming every field that is wrong, unknown or missing."""
    if not isinstance(raw, Mapping):
        raise BadInput.because("body", "must be an object of named fields", accepted="a JSON object")
    one = serializer(data=raw)
    unknown = sorted(set(raw) - set(one.fields))
    refusals = [
        Refusal(
            field=str(name)[:80],
            message="is not a field of this action",
            accepted=", ".join(one.fields) or "none",
            rule="unknown field",
        )
        for name in unknown
    ]
    if not one.is_valid():
        refusals += list(_errors("", one.errors, raw, one))
    if refusals:
        raise BadInput(*refusals)
    return dict(one.validated_data)


def _errors(prefix: str, errors: Any, raw: Any, asked: Any) -> list[Refusal]:
    found: list[Refusal] = []
    if isinstance(errors, Mapping):
        for name, inner in errors.items():
            value = raw.get(name) if isinstance(raw, Mapping) else None
            field = getattr(asked, "fields", {}).get(name)
            found += _errors(f"{prefix}.{name}" if prefix else str(name), inner, value, field)
    elif isinstance(errors, list) and errors and isinstance(errors[0], Mapping):
        for number, inner in enumerate(errors):
            value = raw[number] if isinstance(raw, list) and number < len(raw) else None
            found += _errors(f"{prefix}[{number}]", inner, value, getattr(asked, "child", None))
    else:
        shown = None if raw is None or "password" in prefix else str(raw)[:60]
        message = " ".join(map(str, errors))
        found.append(Refusal(field=prefix or "body", value=shown, message=message, accepted=accepted_by(asked)))
    return found


def accepted_by(field: Any) -> str | None:
    """Return in words what a serializer field takes, None where nothing can be said."""
    if isinstance(field, serializers.ListField):
        return f"a list of: {accepted_by(field.child) or 'values'}"
    if isinstance(field, serializers.ChoiceField):
        return ", ".join(str(one) for one in field.choices if one != "")
    if isinstance(field, serializers.DecimalField):
        return f"a decimal number of at most {field.max_digits} digits, {field.decimal_places} after the point"
    if isinstance(field, serializers.CharField):
        return "a text" if field.max_length is None else f"a text of at most {field.max_length} characters"
    return next((text for kind, text in TAKEN if isinstance(field, kind)), None)


TAKEN: tuple[tuple[type[serializers.Field[Any, Any, Any, Any]], str], ...] = (
    (serializers.IntegerField, "a whole number"),
    (serializers.BooleanField, "true or false"),
    (serializers.DateTimeField, "a moment with its time zone, such as 2026-03-31T09:00:00Z"),
    (serializers.DateField, "a day such as 2026-03-31"),
)


def plain(value: Any) -> Any:
    """Return `value` as JSON-ready plain data: decimals as strings, times in UTC, dataclasses as mappings."""
    if isinstance(value, Decimal):
        return decimal_text(value)
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        items = sorted(value) if isinstance(value, set | frozenset) else value
        return [plain(item) for item in items]
    if is_dataclass(value) and not isinstance(value, type):
        return {one.name: plain(getattr(value, one.name)) for one in fields(value)}
    return value
