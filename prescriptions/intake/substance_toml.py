"""A substance as TOML text, read strictly: unknown, missing and doubtful values are refused together."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any, Final

from dosewright.ground.pure.errors import BadInput, Refusal, refuse_if_any
from dosewright.ground.pure.quantities import parse_decimal
from prescriptions.intake.reading import (
    Reader,
    built,
    choice_of,
    item_of,
    read_flag,
    read_list,
    shown,
    text_of,
    without_none,
)
from prescriptions.substance_facts import FORM, SYNONYM, WHOLE_LIFE_DAYS, LimitFacts, OtherName, SubstanceFacts

MOST_BYTES: Final = 100_000
FLAGS: Final = ("weekly_only", "controlled", "hazardous", "narrow_index")
NAMES: Final = (
    *("name", "moiety", "moiety_frac", "formula", "moiety_formula"),
    *("rounding_step_mg", "rounding_limit_frac", "rounding_source", "warnings", "names", "limits", *FLAGS),
)
NAME_NAMES: Final = ("name", "kind", "formula", "form_frac", "source")
LIMIT_NAMES: Final = (
    *("per", "basis", "low_mg", "high_mg", "severity", "from_days", "to_days", "from_kg", "to_kg", "route", "source"),
)


def read_substance(text: str, *, since: date) -> SubstanceFacts:
    """Return the substance that `text` (TOML 1.0) describes; its limits hold from the day ``since``.

    Raises BadInput naming every place that is wrong; nothing is filled in by guess.
    """
    if len(text.encode("utf-8", "surrogatepass")) > MOST_BYTES:
        raise BadInput.because("substance", "the text is too long", limit=str(MOST_BYTES), unit="bytes")
    try:
        raw = tomllib.loads(text, parse_float=Decimal)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise BadInput.because("substance", "is not TOML", value=str(error)[:80], accepted="TOML 1.0") from None
    refusals: list[Refusal] = []
    facts = _substance(Reader(raw, "", NAMES, refusals), since)
    refuse_if_any(BadInput, refusals)
    return facts


def _substance(reader: Reader, since: date) -> Any:
    _formulas(reader, "formula", "moiety_formula")
    parts = {
        "name": reader.read("name", text_of(80)),
        "rounding_step_mg": reader.read("rounding_step_mg", _number),
        "rounding_limit_frac": reader.read("rounding_limit_frac", _number),
        "rounding_source": reader.read("rounding_source", text_of(200)),
    }
    more = {
        "moiety": reader.read("moiety", text_of(80)),
        "moiety_frac": reader.read("moiety_frac", _number, needed=False),
        "names": _each(reader, "names", _name),
        "limits": _each(reader, "limits", lambda one: _limit(one, since)),
        "warnings": _texts(reader, "warnings"),
        **{name: reader.read(name, read_flag, needed=False) for name in FLAGS},
    }
    return built(SubstanceFacts, parts | without_none(**more), *parts)


def _each(reader: Reader, name: str, how: Callable[[Reader], Any]) -> tuple[Any, ...]:
    names = {"names": NAME_NAMES, "limits": LIMIT_NAMES}[name]
    written = reader.read(name, read_list, needed=False) or []
    places = (Reader(one, f"{name}[{n}]", names, reader.refusals) for n, one in enumerate(written))
    return tuple(how(one) for one in places)


def _name(reader: Reader) -> Any:
    _formulas(reader, "formula")
    parts = {
        "name": reader.read("name", text_of(80)),
        "kind": reader.read("kind", choice_of((SYNONYM, FORM))),
        "source": reader.read("source", text_of(200)),
        "form_frac": reader.read("form_frac", _number, needed=False),
    }
    return built(OtherName, parts, "name", "kind", "source")


def _limit(reader: Reader, since: date) -> Any:
    parts = {
        "per": reader.read("per", choice_of(("dose", "day", "course"))),
        "high_mg": reader.read("high_mg", _number),
        "source": reader.read("source", text_of(200)),
    }
    more = {
        "basis": reader.read("basis", choice_of(("absolute", "per kg", "per m2")), needed=False),
        "low_mg": reader.read("low_mg", _number, needed=False),
        "severity": reader.read("severity", choice_of(("block", "reason", "inform")), needed=False),
        "age_from_days": reader.read("from_days", _days, needed=False),
        "age_to_days": reader.read("to_days", _days, needed=False),
        "from_kg": reader.read("from_kg", _number, needed=False),
        "to_kg": reader.read("to_kg", _number, needed=False),
        "route": reader.read("route", text_of(20), needed=False),
    }
    return built(LimitFacts, parts | without_none(**more) | {"since": since}, *parts)


def _number(value: object, place: str) -> Decimal:
    return parse_decimal(value, field=place)


def _days(value: object, place: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= WHOLE_LIFE_DAYS:
        accepted = f"a whole number of days, 0 to {WHOLE_LIFE_DAYS}"
        raise BadInput.because(place, "this is no age in days", value=shown(value), accepted=accepted, rule="number")
    return value


def _formulas(reader: Reader, *names: str) -> None:
    """Formulas are read for their form alone: they let a test work the fractions out anew."""
    for name in names:
        reader.read(name, text_of(60), needed=False)


def _texts(reader: Reader, name: str) -> tuple[str, ...]:
    written = reader.read(name, read_list, needed=False) or []
    texts = [item_of(text_of(200), one, f"{name}[{n}]", reader.refusals) for n, one in enumerate(written)]
    return tuple(text for text in texts if text is not None)
