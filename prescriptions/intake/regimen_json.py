"""The regimen in the order JSON, both ways."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any, Final

from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.errors import Refusal
from dosewright.ground.pure.quantities import Basis, DoseAmount, parse_dose, parse_dose_amount
from prescriptions.intake.reading import Reader, built, read_count, read_date, read_list, without_none
from prescriptions.intake.timing_json import (
    DAYS_NAMES,
    TIMING_NAMES,
    read_every_n_days,
    read_timing,
    read_weekdays,
    schedule_as_json,
)
from prescriptions.regimens import Regimen, Step, check_regimen

STEP_NAMES: Final = ("dose", "max_dose", *TIMING_NAMES, *DAYS_NAMES, "start_date", "days", "stop_date")


def read_regimen(value: object, place: str, refusals: list[Refusal]) -> Any:
    """Read a regimen; what it may not be is told step by step."""
    before = len(refusals)
    reader = Reader(value, place, ("steps",), refusals)
    written = reader.read("steps", read_list) or []
    steps = [_step(one, f"{place}.steps[{n}]", refusals) for n, one in enumerate(written)]
    if len(refusals) > before:
        return None
    regimen = Regimen(steps=tuple(steps))
    refusals.extend(check_regimen(regimen, field=place))
    return regimen


def step_as_json(step: Step) -> dict[str, Any]:
    """Return one step as the order JSON has it."""
    cap = step.cap_mg
    return without_none(
        dose=step.dose.text,
        max_dose=None if cap is None else f"{decimal_text(cap)} mg",
        **schedule_as_json(step.schedule),
        start_date=step.start_date.isoformat(),
        days=step.days,
    )


def _step(value: object, place: str, refusals: list[Refusal]) -> Any:
    reader = Reader(value, place, STEP_NAMES, refusals)
    dose = reader.read("dose", lambda v, p: parse_dose_amount(v, field=p))
    start_date = reader.read("start_date", read_date)
    parts = {
        "dose": dose,
        "timing": read_timing(reader),
        "every_n_days": read_every_n_days(reader),
        "weekdays": read_weekdays(reader),
        "start_date": start_date,
        "days": _days(reader, start_date),
        "cap_mg": _cap_mg(reader, dose),
    }
    return built(Step, parts, "dose", "timing", "start_date", "days")


def _days(reader: Reader, start_date: date | None) -> int | None:
    if not reader.is_object:
        return None
    has_days, has_stop = "days" in reader.found, "stop_date" in reader.found
    if has_days == has_stop:
        message = "the end is stated twice" if has_days else "the end is missing"
        reader.refuse("days", message, accepted="either days or stop_date", rule="end")
        return None
    if has_days:
        return reader.read("days", read_count)
    stop_date = reader.read("stop_date", read_date)
    if start_date is None or stop_date is None:
        return None
    if stop_date < start_date:
        accepted = f"{start_date.isoformat()} or later"
        reader.refuse("stop_date", "the end is before the start", value=stop_date, accepted=accepted, rule="end")
        return None
    return (stop_date - start_date).days + 1


def _cap_mg(reader: Reader, dose: DoseAmount | None) -> Decimal | None:
    cap_mg = reader.read("max_dose", lambda v, p: parse_dose(v, field=p), needed=False)
    if cap_mg is not None and dose is not None and dose.basis is Basis.ABSOLUTE:
        accepted = "max_dose only beside a dose per kg or per m2"
        reader.refuse("max_dose", "a dose in mg is ordered as written", value=cap_mg, accepted=accepted, rule="cap")
    return cap_mg
