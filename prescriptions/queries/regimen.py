"""What is taken when, read back from the exact text of an order version."""

from __future__ import annotations

import json
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from dosewright.ground.pure.errors import BadInput, Refusal, refuse_if_any
from dosewright.ground.pure.quantities import Basis
from prescriptions.calendar import Administration, given_of
from prescriptions.intake.regimen_json import STEP_NAMES, read_regimen
from prescriptions.models import OrderVersion
from prescriptions.regimens import Regimen


def record_of(version: OrderVersion) -> dict[str, Any]:
    """Return the record that was signed; its canonical text is the version's text."""
    found: dict[str, Any] = json.loads(version.text, parse_float=Decimal)
    return found


def regimen_of(version: OrderVersion) -> Regimen:
    """Return the regimen as it was ordered."""
    return _regimen(record_of(version))


def administrations_of(version: OrderVersion) -> tuple[Administration, ...]:
    """Return every dose of the version in order of time, with the doses as ordered."""
    record = record_of(version)
    return given_of(_regimen(record), [Decimal(step["ordered_mg"]) for step in record["steps"]])


def bases_of(version: OrderVersion) -> frozenset[Basis]:
    """Return what the doses of the version were given per."""
    return frozenset(step.dose.basis for step in regimen_of(version).steps)


def _regimen(record: Mapping[str, Any]) -> Regimen:
    steps = [{name: step[name] for name in STEP_NAMES if name in step} for step in record["steps"]]
    refusals: list[Refusal] = []
    regimen: Regimen = read_regimen({"steps": steps}, "regimen", refusals)
    refuse_if_any(BadInput, refusals)
    return regimen
