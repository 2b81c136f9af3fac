"""The example orders, changed in one place each, and what reading them says; shared by the tests of the order JSON."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from dosewright.ground.pure.errors import BadInput, Refusal
from dosewright.ground.pure.strict_json import parse
from prescriptions.intake.order_json import read_order

FIXTURES = Path(__file__).resolve().parents[3] / "fixtures"
SCHEMA = json.loads((FIXTURES / "contracts" / "order.schema.json").read_text("utf-8"))
EXAMPLES: list[dict[str, Any]] = parse((FIXTURES / "orders_example.json").read_bytes())
TODAY = date(2026, 3, 5)
Change = Callable[[dict[str, Any]], object]


def fits(value: object) -> bool:
    """Return whether the published schema takes `value` (numbers as JSON would carry them)."""
    plain = json.loads(json.dumps(value, default=float))
    return jsonschema.Draft202012Validator(SCHEMA).is_valid(plain)


def changed(change: Change, example: int = 0) -> dict[str, Any]:
    """Return a copy of an example order with one change."""
    order = copy.deepcopy(EXAMPLES[example])
    change(order)
    return order


def refusals(value: object) -> tuple[Refusal, ...]:
    """Return why an order is refused; fails where it is taken."""
    with pytest.raises(BadInput) as caught:
        read_order(value, today=TODAY)
    return caught.value.refusals


def put(path: str, value: object) -> Change:
    """Return a change that sets the value at a path such as "regimen.steps.0.dose"."""

    def change(order: dict[str, Any]) -> None:
        *way, last = path.split(".")
        place: Any = order
        for part in way:
            place = place[int(part)] if isinstance(place, list) else place[part]
        place[int(last) if isinstance(place, list) else last] = value

    return change


def drop(path: str) -> Change:
    """Return a change that takes the value at a path away."""

    def change(order: dict[str, Any]) -> None:
        *way, last = path.split(".")
        place: Any = order
        for part in way:
            place = place[int(part)] if isinstance(place, list) else place[part]
        del place[last]

    return change
