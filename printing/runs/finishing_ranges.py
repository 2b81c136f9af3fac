"""Whether a finishing step kept its range of time and conditions. PURE."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from dosewright.ground.pure.errors import BadInput, Refusal, refuse_if_any

EQUIPMENT_FOR = {"wash": "bath", "dry": "oven", "cure": "cure box"}
EFFECTS = {
    ("wash", "short"): "resin may be left on the units: residues and mass may be too high",
    ("wash", "long"): "drug may be lost to the wash: content may be too low",
    ("dry", "long"): "the units were warm for longer than studied: degradation is not excluded",
    ("cure", "short"): "the units may not be cured through: residues may be too high, strength too low",
    ("cure", "long"): "the units saw more light and heat than studied: degradation is not excluded",
}
"""What leaving the range may do to the units (common practice, no source)."""

BOUNDS = ("least", "most")


@dataclass(frozen=True, slots=True, kw_only=True)
class Departure:
    """One range that was not kept: which, what was found, the limit, and what that may do."""

    what: str
    found: str
    limit: str
    unit: str
    effect: str


def asked_readings(conditions: Mapping[str, object]) -> tuple[str, ...]:
    """Return the names of the readings that the conditions of a step bound.

    >>> asked_readings({"temperature_least_c": 35, "temperature_most_c": 45, "liquid": "2-propanol"})
    ('temperature_c',)
    """
    return tuple(sorted({name for name, _ in filter(None, map(_bound, conditions))}))


def departures(
    *,
    kind: str,
    seconds: int,
    least_s: int,
    most_s: int,
    conditions: Mapping[str, object],
    readings: Mapping[str, Decimal],
) -> tuple[Departure, ...]:
    """Return every range that a finished step did not keep.

    seconds, least_s, most_s: time taken and its range [s].  readings: one per bounded condition.  Raises
    BadInput for a reading that is missing or that the step does not ask for.
    """
    _refuse_readings(conditions, readings)
    found = []
    if seconds < least_s:
        found.append(_time(kind, "short", seconds, least_s))
    if seconds > most_s:
        found.append(_time(kind, "long", seconds, most_s))
    for condition, limit in sorted(conditions.items()):
        bound = _bound(condition)
        if bound is not None and not _kept(bound[1], readings[bound[0]], Decimal(str(limit))):
            found.append(
                Departure(
                    what=bound[0],
                    found=str(readings[bound[0]]),
                    limit=f"at {bound[1]} {limit}",
                    unit=bound[0].rpartition("_")[2],
                    effect="the step was not done under the conditions that were studied",
                )
            )
    return tuple(found)


def _time(kind: str, which: str, seconds: int, limit_s: int) -> Departure:
    bound = "least" if which == "short" else "most"
    return Departure(
        what="time", found=str(seconds), limit=f"at {bound} {limit_s}", unit="s", effect=EFFECTS[kind, which]
    )


def _bound(condition: str) -> tuple[str, str] | None:
    parts = condition.split("_")
    if len(parts) < 3 or parts[-2] not in BOUNDS:
        return None
    return "_".join([*parts[:-2], parts[-1]]), parts[-2]


def _kept(bound: str, found: Decimal, limit: Decimal) -> bool:
    return found >= limit if bound == "least" else found <= limit


def _refuse_readings(conditions: Mapping[str, object], readings: Mapping[str, Decimal]) -> None:
    asked = set(asked_readings(conditions))
    refusals = [
        Refusal(field=name, message="this step needs the reading", accepted="a number", rule="reading")
        for name in sorted(asked - set(readings))
    ]
    refusals += [
        Refusal(field=name, message="this step does not ask for it", accepted=", ".join(sorted(asked)) or "none")
        for name in sorted(set(readings) - asked)
    ]
    refusals += [
        Refusal(field=name, value=str(value), message="is no reading", accepted="a number from -100 to 1000")
        for name, value in sorted(readings.items())
        if not value.is_finite() or not -100 <= value <= 1000
    ]
    refuse_if_any(BadInput, refusals)
