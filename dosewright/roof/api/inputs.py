"""What a door asks for, field by field, read from its serializer: for forms and for programs alike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from rest_framework import serializers

from dosewright.ground.rest import Door

LONG_TEXT = 160
"""From this many characters a text gets several lines; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One field of a door's input."""

    name: str
    label: str
    help: str
    kind: str
    required: bool
    options: tuple[tuple[str, str], ...] = ()
    initial: Any = None
    longest: int | None = None
    of: str = ""


def asked_by(door: type[Door]) -> list[Asked]:
    """Return the fields of a door's input, in their order."""
    return [_asked(name, field) for name, field in door.Input().fields.items()]


def kind_of_field(field: serializers.Field) -> str:
    """Return the plain word for what a serializer field takes."""
    if isinstance(field, serializers.MultipleChoiceField):
        return "choices"
    if isinstance(field, serializers.ListField):
        return "list" if kind_of_field(field.child) in SIMPLE else "json"
    if isinstance(field, serializers.DictField):
        return "pairs" if kind_of_field(field.child) in SIMPLE else "json"
    for kind, word in KINDS:
        if isinstance(field, kind):
            return _text_kind(field) if word == "text" else word
    return "json"


KINDS: tuple[tuple[type[serializers.Field], str], ...] = (
    (serializers.BooleanField, "yes or no"),
    (serializers.ChoiceField, "choice"),
    (serializers.IntegerField, "whole number"),
    (serializers.DecimalField, "number"),
    (serializers.FloatField, "number"),
    (serializers.DateTimeField, "moment"),
    (serializers.DateField, "date"),
    (serializers.TimeField, "time"),
    (serializers.CharField, "text"),
)
SIMPLE = {"choice", "whole number", "number", "date", "time", "text", "long text"}


def _text_kind(field: Any) -> str:
    if field.style.get("input_type") == "password":
        return "password"
    longest = field.max_length
    several = field.style.get("base_template") == "textarea.html" or (longest is not None and longest > LONG_TEXT)
    return "long text" if several and field.field_name not in {"shown_digest", "back"} else "text"


def _asked(name: str, field: Any) -> Asked:
    kind = kind_of_field(field)
    has_default = field.default is not serializers.empty and not callable(field.default)
    child = getattr(field, "child", None)
    choices = getattr(child if kind == "list" else field, "choices", {})
    return Asked(
        name=name,
        label=str(field.label or name.replace("_", " ").capitalize()),
        help=str(field.help_text or ""),
        kind="hidden" if name == "shown_digest" else kind,
        required=field.required,
        options=tuple((str(value), str(label)) for value, label in choices.items() if value != ""),
        initial=field.default if has_default else None,
        longest=getattr(field, "max_length", None),
        of=kind_of_field(child) if child is not None and kind in {"list", "pairs"} else "",
    )
