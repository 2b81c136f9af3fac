"""A door's form: its fields with what was typed and what was wrong, and what was typed as the door's input."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.http import QueryDict

from dosewright.ground.pure.errors import BadInput, Refusal
from dosewright.ground.pure.strict_json import parse
from dosewright.ground.rest import Door, plain
from dosewright.roof.api.inputs import Asked, asked_by

FEW = 5
"""Up to this many choices all stand open; our choice."""
INPUT_TYPES = {"date": "date", "moment": "datetime-local", "time": "time", "password": "password"}


@dataclass(frozen=True, slots=True, kw_only=True)
class FormField:
    """One field as the form shows it."""

    name: str
    label: str
    help: str
    kind: str
    widget: str
    input_type: str
    required: bool
    options: tuple[tuple[str, str], ...]
    value: str
    values: tuple[str, ...]
    longest: int | None
    errors: tuple[str, ...]

    @property
    def id(self) -> str:
        """The field's id on the page."""
        return f"f-{self.name}"

    @property
    def numeric(self) -> bool:
        """Whether a number is typed."""
        return self.kind in {"number", "whole number"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """One line of the summary of what was wrong, with the field to go to."""

    text: str
    name: str = ""


def fields_of(
    door: type[Door], given: QueryDict | None, refusals: Sequence[Refusal], *, initial: Mapping[str, Any]
) -> list[FormField]:
    """Return the fields of a door's form; the password is asked last, after what is scanned and stated."""
    asked = sorted(asked_by(door), key=lambda one: one.kind == "password")
    return [_field(one, given, refusals, initial) for one in asked]


def _field(asked: Asked, given: QueryDict | None, refusals: Sequence[Refusal], initial: Mapping[str, Any]) -> FormField:
    values = _values(asked, given, initial)
    return FormField(
        name=asked.name,
        label=asked.label,
        help=asked.help,
        kind=asked.kind,
        widget=_widget(asked),
        input_type=INPUT_TYPES.get(asked.kind, "text"),
        required=asked.required,
        options=asked.options,
        value="\n".join(values),
        values=tuple(values),
        longest=asked.longest,
        errors=tuple(said(one) for one in refusals if belongs(one, asked.name)),
    )


def _widget(asked: Asked) -> str:
    if asked.kind in {"choice", "choices"}:
        return "open-choice" if len(asked.options) <= FEW or asked.kind == "choices" else "choice"
    if asked.kind in {"list", "pairs", "json", "long text"}:
        return "lines"
    return {"yes or no": "tick", "hidden": "hidden"}.get(asked.kind, "line")


def _values(asked: Asked, given: QueryDict | None, initial: Mapping[str, Any]) -> list[str]:
    if asked.kind == "password":
        return []
    if asked.name in initial and (given is None or asked.kind == "hidden"):
        value = initial[asked.name]
    elif given is not None:
        return given.getlist(asked.name)
    else:
        value = asked.initial
    several = value if isinstance(value, list | tuple) else [value]
    if value is True:
        return ["yes"]
    return [str(plain(one)) for one in several if one is not None and one is not False]


def belongs(refusal: Refusal, name: str) -> bool:
    """Tell whether a refusal is about a field or something inside it."""
    return refusal.field == name or refusal.field.startswith((f"{name}.", f"{name}["))


def said(refusal: Refusal) -> str:
    """Return a refusal in one sentence."""
    limit = f" ({refusal.limit}{f' {refusal.unit}' if refusal.unit else ''})" if refusal.limit else ""
    accepted = f" – {refusal.accepted}" if refusal.accepted else ""
    return f"{refusal.message}{limit}{accepted}"


def troubles(fields: Sequence[FormField], refusals: Sequence[Refusal]) -> list[Trouble]:
    """Return the summary: every refusal, those of a field with a way to it."""
    found = []
    for refusal in refusals:
        field = next((one for one in fields if belongs(refusal, one.name) and one.widget != "hidden"), None)
        text = said(refusal)
        found.append(
            Trouble(text=f"{field.label}: {text}", name=field.name) if field else Trouble(text=_placed(refusal, text))
        )
    return found


def _placed(refusal: Refusal, text: str) -> str:
    value = f" “{refusal.value}”" if refusal.value and refusal.field not in {"shown_digest", "actor"} else ""
    place = "" if refusal.field in {"actor", "shown_digest", "body"} else f"{refusal.field}{value}: "
    return f"{place}{text}"


def raw_input(door: type[Door], post: QueryDict) -> dict[str, Any]:
    """Return what was typed as the door's input; raises BadInput for JSON that cannot be read."""
    raw: dict[str, Any] = {}
    serializer = door.Input()
    for asked in asked_by(door):
        value = _typed(asked, post)
        if value is not None:
            raw[asked.name] = value
        elif getattr(serializer.fields[asked.name], "allow_blank", False) and asked.name in post:
            raw[asked.name] = ""
    if "password" not in raw and not getattr(serializer.fields.get("password"), "required", True):
        raw.pop("shown_digest", None)  # a signature that is optional and was not given
    return raw


def _typed(asked: Asked, post: QueryDict) -> Any:
    text = post.get(asked.name, "").replace("\r\n", "\n")
    match asked.kind:
        case "yes or no":
            return asked.name in post
        case "choices":
            return post.getlist(asked.name)
        case "password":
            return text or None
        case "list":
            return [line.strip() for line in text.splitlines() if line.strip()]
        case "pairs":
            return _pairs(text)
        case "json":
            return _json(asked.name, text)
    return text.strip() or None


def _pairs(text: str) -> dict[str, str]:
    lines = [line.strip().replace("=", " ").replace(":", " ").split() for line in text.splitlines() if line.strip()]
    return {words[0]: " ".join(words[1:]) for words in lines}


def _json(name: str, text: str) -> Any:
    if not text.strip():
        return None
    try:
        return parse(text.encode())
    except BadInput as refused:
        raise BadInput(
            *(
                Refusal(field=name, message=one.message, value=one.value, accepted=one.accepted, rule=one.rule)
                for one in refused.refusals
            )
        ) from refused
