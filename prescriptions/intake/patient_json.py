"""The patient in the order JSON, both ways."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any, Final

from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.errors import BadInput, Refusal
from dosewright.ground.pure.quantities import parse_decimal, parse_height_cm, parse_weight_kg
from prescriptions.intake.order_request import (
    ALLERGY_STATES,
    SEXES,
    SWALLOWING,
    Identifier,
    KnownPatient,
    Measure,
    StatedAllergies,
    StatedPatient,
)
from prescriptions.intake.reading import (
    Reader,
    built,
    choice_of,
    item_of,
    read_date,
    read_flag,
    read_list,
    text_of,
    within,
    without_none,
)

PATIENT_NAMES: Final = (
    *("identifier", "family_name", "given_name", "birth_date", "sex", "weight", "height", "allergies"),
    *("swallowing", "feeding_tube", "stricture", "pregnancy_possible", "largest_unit_mm"),
)


def read_patient(value: object, place: str, refusals: list[Refusal], today: date) -> Any:
    """Read a patient by code or in full; no date lies after ``today``."""
    if isinstance(value, dict) and "code" in value:
        code = Reader(value, place, ("code",), refusals).read("code", text_of(20))
        return built(KnownPatient, {"code": code}, "code")
    patient = Reader(value, place, PATIENT_NAMES, refusals)
    birth_date = patient.read("birth_date", not_after(today))
    measured = not_after(today, birth_date)
    parts = {
        "identifier": patient.read("identifier", within(refusals, _identifier)),
        "family_name": patient.read("family_name", text_of(120)),
        "given_name": patient.read("given_name", text_of(120)),
        "birth_date": birth_date,
        "sex": patient.read("sex", choice_of(SEXES)),
        "allergies": patient.read("allergies", within(refusals, _allergies)),
        "swallowing": patient.read("swallowing", choice_of(SWALLOWING)),
        "weight": patient.read("weight", _measure(refusals, parse_weight_kg, measured), needed=False),
        "height": patient.read("height", _measure(refusals, parse_height_cm, measured), needed=False),
        "largest_unit_mm": patient.read("largest_unit_mm", _length_mm, needed=False),
        "feeding_tube": patient.read("feeding_tube", read_flag, needed=False),
        "stricture": patient.read("stricture", read_flag, needed=False),
        "pregnancy_possible": patient.read("pregnancy_possible", read_flag, needed=False),
    }
    needed = ("identifier", "family_name", "given_name", "birth_date", "sex", "allergies", "swallowing")
    return built(StatedPatient, parts, *needed)


def patient_as_json(patient: KnownPatient | StatedPatient) -> dict[str, Any]:
    """Return ``patient`` as the order JSON has it."""
    if isinstance(patient, KnownPatient):
        return {"code": patient.code}
    largest = patient.largest_unit_mm
    return without_none(
        identifier={"system": patient.identifier.system, "value": patient.identifier.value},
        family_name=patient.family_name,
        given_name=patient.given_name,
        birth_date=patient.birth_date.isoformat(),
        sex=patient.sex,
        weight=_measure_as_json(patient.weight, "kg"),
        height=_measure_as_json(patient.height, "cm"),
        allergies={"status": patient.allergies.status, "entries": list(patient.allergies.entries)},
        swallowing=patient.swallowing,
        feeding_tube=patient.feeding_tube,
        stricture=patient.stricture,
        pregnancy_possible=patient.pregnancy_possible,
        largest_unit_mm=None if largest is None else decimal_text(largest),
    )


def not_after(today: date, birth_date: date | None = None) -> Callable[[object, str], date]:
    """Return a reader of a day up to ``today`` and, where it is known, from ``birth_date`` on."""

    def read(value: object, place: str) -> date:
        day = read_date(value, place)
        if day > today or (birth_date is not None and day < birth_date):
            since = "" if birth_date is None else f"{birth_date.isoformat()} to "
            message = "the day is in the future" if day > today else "the day is before birth"
            accepted = f"{since}{today.isoformat()}" if since else f"up to {today.isoformat()}"
            raise BadInput.because(place, message, value=day.isoformat(), accepted=accepted, rule="date")
        return day

    return read


def _identifier(value: object, place: str, refusals: list[Refusal]) -> Any:
    reader = Reader(value, place, ("system", "value"), refusals)
    parts = {"system": reader.read("system", text_of(120)), "value": reader.read("value", text_of(60))}
    return built(Identifier, parts, "system", "value")


IDENTITY = ("patient", "patient.identifier", "patient.family_name", "patient.given_name", "patient.sex")
DAY = re.compile(r"[0-9.:/ TZ+-]{1,40}")


def without_identity(one: Refusal) -> Refusal:
    """Return a refusal without what was typed as a patient's identity: a problem told is kept in places of its own.

    A day of birth is told again while it looks like one, and nobody's name stands in it.
    """
    day = one.field == "patient.birth_date" and one.value is not None and DAY.fullmatch(one.value) is None
    who = one.field in IDENTITY or one.field.startswith("patient.identifier.")
    return replace(one, value=None) if day or who else one


def _allergies(value: object, place: str, refusals: list[Refusal]) -> Any:
    reader = Reader(value, place, ("status", "entries"), refusals)
    status = reader.read("status", choice_of(ALLERGY_STATES))
    written = reader.found.get("entries")
    entries = [] if written in (None, []) else reader.read("entries", read_list)
    texts = [item_of(text_of(120), one, f"{place}.entries[{n}]", refusals) for n, one in enumerate(entries or [])]
    if status is not None and entries is not None and (status == "listed") != bool(entries):
        accepted = 'entries with "listed", and none with any other status'
        reader.refuse("entries", "status and entries contradict each other", value=status, accepted=accepted)
    return built(StatedAllergies, {"status": status, "entries": tuple(texts)}, "status")


def _measure(
    refusals: list[Refusal],
    parse: Callable[..., Decimal],
    measured: Callable[[object, str], date],
) -> Callable[[object, str], Any]:
    def read(value: object, place: str) -> Any:
        reader = Reader(value, place, ("value", "unit", "measured_on"), refusals)
        number, unit = reader.read("value", _any), reader.read("unit", _any)
        measured_on = reader.read("measured_on", measured)
        whole = number is not None and unit is not None
        size = parse(number, unit, field=place) if whole else None
        return built(Measure, {"value": size, "measured_on": measured_on}, "value", "measured_on")

    return read


def _any(value: object, _place: str) -> object:
    return value


def _length_mm(value: object, place: str) -> Decimal:
    length_mm = parse_decimal(value, field=place)
    if not 1 <= length_mm <= 25:
        shown = decimal_text(length_mm)
        raise BadInput.because(
            place, "no such unit is made", value=shown, limit="1 to 25", unit="mm", accepted="1 to 25"
        )
    return length_mm


def _measure_as_json(measure: Measure | None, unit: str) -> dict[str, str] | None:
    if measure is None:
        return None
    measured_on = measure.measured_on.isoformat()
    return {"value": decimal_text(measure.value), "unit": unit, "measured_on": measured_on}
