"""A register of published formulas, so that a site can check the software with its own worked examples."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

Function = TypeVar("Function", bound=Callable[..., Any])


@dataclass(frozen=True, slots=True, kw_only=True)
class Formula:
    """A published formula: its inputs with unit and range, and where it comes from."""

    name: str
    function: Callable[..., Any]
    inputs: Mapping[str, str]
    source: str


FORMULAS: dict[str, Formula] = {}


def formula(name: str, *, inputs: Mapping[str, str], source: str) -> Callable[[Function], Function]:
    """Register the decorated PURE function under `name`; a second registration of a name is an error."""

    def register(function: Function) -> Function:
        if name in FORMULAS:
            raise ValueError(f"formula {name} is registered twice")
        FORMULAS[name] = Formula(name=name, function=function, inputs=dict(inputs), source=source)
        return function

    return register
