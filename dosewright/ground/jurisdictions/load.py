"""Reads the law packs from their TOML files and refuses what is misspelt, missing or contradicts itself."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import fields
from datetime import date
from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from dosewright.ground.jurisdictions.packs import (
    DEMANDS,
    READ,
    TO_BE_CONFIRMED,
    ExpiryCap,
    Instrument,
    LegalBasis,
    Pack,
    Particular,
    Statement,
)
from dosewright.ground.pure.errors import BadInput, NotThere

_FOLDER = Path(__file__).parent
_DEFAULTS = {"mandatory": True, "note": "", "in_force_since": "", "instrument": "", "section": "", "number": ""}
_HEAD = {
    "code",
    "version",
    "name",
    "valid_from",
    "is_invented",
    "languages",
    "micro_word",
    "expiry_wording",
    "unlicensed_statement",
    "instruments",
    "label_particulars",
    "statements",
    "bases",
    "expiry_caps",
    "wording",
}

Item = TypeVar("Item", Instrument, Particular, Statement, LegalBasis, ExpiryCap)


def load_pack(code: str, version: str) -> Pack:
    """Return the law pack `code` in `version`; raises NotThere naming the packs there are."""
    found = _packs().get((code, version))
    if found is None:
        raise NotThere.because(
            "law pack",
            "there is no such law pack",
            value=f"{code} {version}",
            accepted=", ".join(f"{one} {other}" for one, other in known_packs()),
        )
    return found


def known_packs() -> tuple[tuple[str, str], ...]:
    """Return code and version of every law pack, in order."""
    return tuple(sorted(_packs()))


def read_pack(text: str) -> Pack:
    """Return the pack written in TOML `text`; raises BadInput for unknown keys, states or references."""
    data = tomllib.loads(text, parse_float=Decimal)
    unknown = sorted(set(data) - _HEAD)
    if unknown:
        raise BadInput.because("law pack", "holds keys that mean nothing", value=", ".join(unknown))
    pack = Pack(
        code=data["code"],
        version=data["version"],
        name=data["name"],
        valid_from=_day(data["valid_from"]),
        is_invented=data["is_invented"],
        languages=tuple(data["languages"]),
        micro_word=data["micro_word"],
        expiry_wording=data["expiry_wording"],
        unlicensed_statement=data["unlicensed_statement"],
        instruments=_items(Instrument, data["instruments"]),
        label_particulars=_items(Particular, data["label_particulars"]),
        statements=_items(Statement, data["statements"]),
        bases=_items(LegalBasis, data["bases"]),
        expiry_caps=_items(ExpiryCap, data.get("expiry_caps", [])),
        wordings=MappingProxyType(
            {language: _words(language, data.get("wording", {})) for language in data["languages"]}
        ),
    )
    _check(pack)
    return pack


@lru_cache(maxsize=1)
def _packs() -> Mapping[tuple[str, str], Pack]:
    packs = [read_pack(path.read_text(encoding="utf-8")) for path in sorted(_FOLDER.glob("*.toml"))]
    return MappingProxyType({(pack.code, pack.version): pack for pack in packs})


def _words(language: str, own: Mapping[str, Mapping[str, str]]) -> Mapping[str, str]:
    general = tomllib.loads((_FOLDER / "words" / f"{language}.toml").read_text(encoding="utf-8"))
    return MappingProxyType({**general, **own.get(language, {})})


def _items(kind: type[Item], rows: list[dict[str, Any]]) -> tuple[Item, ...]:
    return tuple(_item(kind, row) for row in rows)


def _item(kind: type[Item], row: Mapping[str, Any]) -> Item:
    names = {one.name for one in fields(kind)}
    values = {name: _DEFAULTS[name] for name in names & set(_DEFAULTS)} | dict(row)
    if set(values) != names:
        raise BadInput.because(
            kind.__name__,
            "has missing or unknown keys",
            value=str(row.get("id", ""))[:40],
            accepted=", ".join(sorted(names)),
        )
    return kind(**{name: _frozen(value) for name, value in values.items()})


def _frozen(value: Any) -> Any:
    if isinstance(value, list):
        return tuple(value)
    return MappingProxyType(dict(value)) if isinstance(value, dict) else value


def _day(value: Any) -> date:
    if not isinstance(value, date):
        raise BadInput.because("valid_from", "is no date", value=str(value))
    return value


def _check(pack: Pack) -> None:
    known = {one.id for one in pack.instruments}
    cited: list[Particular | Statement | LegalBasis | ExpiryCap] = [
        *pack.label_particulars,
        *pack.statements,
        *pack.bases,
        *pack.expiry_caps,
    ]
    for one in cited:
        if one.instrument and one.instrument not in known:
            raise BadInput.because(
                "instrument",
                f"law pack {pack.id} cites what it does not list",
                value=one.instrument,
                accepted=", ".join(sorted(known)),
            )
    items: list[Particular | Statement | LegalBasis | ExpiryCap | Instrument] = [*cited, *pack.instruments]
    for item in items:
        if item.confirmed not in {READ, TO_BE_CONFIRMED}:
            raise BadInput.because(
                "confirmed",
                f"law pack {pack.id} has an item that is neither",
                value=item.confirmed,
                accepted=f"{READ} or {TO_BE_CONFIRMED}",
            )
    for basis in pack.bases:
        for demand in basis.demands:
            if demand not in DEMANDS:
                raise BadInput.because(
                    "demands",
                    f"law pack {pack.id} demands something unknown",
                    value=demand,
                    accepted=", ".join(DEMANDS),
                )
    for name in (pack.expiry_wording, pack.unlicensed_statement):
        pack.statement(name)
    if pack.micro_word not in {"mcg", "micrograms"}:
        raise BadInput.because("micro_word", "is no word for micrograms", value=pack.micro_word)
