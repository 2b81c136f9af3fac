"""An order that repeats another: what differs from it, and that a difference is never left unsaid."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from itertools import zip_longest
from typing import Any, Final

from dosewright.ground.pure.errors import Refusal
from dosewright.ground.pure.notation import format_mass
from prescriptions.intake.timing_json import DAYS_NAMES, TIMING_NAMES, read_schedule

ORDERED: Final = ("release", "route", "indication", "supply_days")
OF_PATIENT: Final = ("weight", "height", "allergies", "swallowing")
NOTHING: Final = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeated:
    """The order that is repeated: its code, the version that holds, and the record of it."""

    order: str
    version: int
    digest: str
    record: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One thing that is not as it was; ``is_ordered`` tells what is prescribed from what is known of the patient."""

    what: str
    before: str
    now: str
    is_ordered: bool


def differences(before: Mapping[str, Any], now: Mapping[str, Any]) -> tuple[Difference, ...]:
    """Return what differs between two order records, dates apart, in the order in which people check it."""
    steps = zip_longest(map(step_said, before["steps"]), map(step_said, now["steps"]), fillvalue=NOTHING)
    pairs = [(f"step {number}", old, new, True) for number, (old, new) in enumerate(steps, start=1)]
    pairs += [(name.replace("_", " "), _said(before.get(name)), _said(now.get(name)), True) for name in ORDERED]
    old_patient, new_patient = before["patient"], now["patient"]
    pairs += [(name, _said(old_patient.get(name)), _said(new_patient.get(name)), False) for name in OF_PATIENT]
    return tuple(
        Difference(what=what, before=old, now=new, is_ordered=is_ordered)
        for what, old, new, is_ordered in pairs
        if old != new
    )


def check_change(change: str, found: tuple[Difference, ...]) -> list[Refusal]:
    """Return a refusal where something ordered differs and nothing is said of it, or the other way round."""
    ordered = [one for one in found if one.is_ordered]
    if bool(ordered) == bool(change):
        return []
    if ordered:
        message = "the order differs from the one it repeats, and does not say so"
        value = "; ".join(f"{one.what}: {one.before} is now {one.now}" for one in ordered)
        accepted = "what changed and why in repeats.change, or the order as it was"
    else:
        message = "a change is stated, but nothing that is ordered differs from before"
        value, accepted = change, "no change stated, or the order as it should be now"
    return [Refusal(field="repeats.change", message=message, value=value[:300], accepted=accepted, rule="repeats")]


def step_said(step: Mapping[str, Any]) -> str:
    """Return one recorded step without its dates: "3 mg (0.1 mg/kg) at 07:00 every day for 28 days"."""
    mass = format_mass(Decimal(step["ordered_mg"]), "micrograms")
    written = "" if step["dose"].replace(" ", "") == mass.replace(" ", "") else f" ({step['dose']})"
    cap = f", at most {step['max_dose']}" if step.get("max_dose") else ""
    schedule = read_schedule({name: step[name] for name in (*TIMING_NAMES, *DAYS_NAMES) if name in step})
    days = int(step["days"])
    return f"{mass}{written}{cap} {schedule.words} for {days} {'day' if days == 1 else 'days'}"


def _said(value: Any) -> str:
    if value in (None, "", []):
        return NOTHING
    if isinstance(value, Mapping) and "unit" in value:
        return f"{value['value']} {value['unit']}"
    if isinstance(value, Mapping):
        return _said([one for one in value.values() if one])
    if isinstance(value, list | tuple):
        return ", ".join(map(_said, value))
    return str(value)
