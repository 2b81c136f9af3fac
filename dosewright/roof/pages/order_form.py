"""The fields of the order form, and what was typed in them as the order JSON that the REST API takes.

Each field is named by its place in the order JSON ("regimen.steps[0].dose"), so that what the one reader of
orders refuses stands beside the field it means.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from dosewright.ground.pure.errors import Refusal
from dosewright.roof.pages.forms import FEW, FormField, belongs, said
from prescriptions.intake.order_request import ALLERGY_STATES, RELEASES, ROUTES, SEXES, SWALLOWING
from prescriptions.timing import WEEKDAYS, MealSlot

MOST_STEPS = 60
SAID = ("no", "yes")
TIMES = re.compile(r"[\s,;]+")

BETWEEN = ", "
"""What stands between several values that were chosen for one field."""

STEP_PLACE = re.compile(r"regimen\.steps\[([0-9]+)\]")
MEANT = {
    "patient": "patient.code",
    "patient.identifier": "patient.identifier.value",
    "patient.weight": "patient.weight.value",
    "patient.height": "patient.height.value",
    "patient.allergies": "patient.allergies.status",
    "prescriber": "prescriber.registration",
    "regimen": "regimen.steps[0].dose",
    "regimen.steps": "regimen.steps[0].dose",
    "repeats": "repeats.order",
    "repeats.reference": "repeats.order",
}
"""Parts of the order JSON that the form shows as several fields, and the field that answers for each."""

Plan = tuple[str, Any, str, Sequence[str], Any, bool]

PATIENT: tuple[Plan, ...] = (
    ("patient.identifier.system", _("Whose number"), "text", (), _("Such as the hospital's record system."), True),
    ("patient.identifier.value", _("Patient number"), "text", (), "", True),
    ("patient.family_name", _("Family name"), "text", (), "", True),
    ("patient.given_name", _("Given name"), "text", (), "", True),
    ("patient.birth_date", _("Birth date"), "date", (), "", True),
    ("patient.sex", _("Sex"), "choice", SEXES, "", True),
    ("patient.weight.value", _("Weight in kg"), "number", (), "", False),
    ("patient.weight.measured_on", _("Weighed on"), "date", (), "", False),
    ("patient.height.value", _("Height in cm"), "number", (), "", False),
    ("patient.height.measured_on", _("Height taken on"), "date", (), "", False),
    ("patient.allergies.status", _("Allergies"), "choice", ALLERGY_STATES, "", True),
    ("patient.allergies.entries", _("Allergies listed"), "list", (), "", False),
    ("patient.swallowing", _("Swallowing"), "choice", SWALLOWING, "", True),
    ("patient.largest_unit_mm", _("Largest form the patient takes, in mm"), "number", (), "", False),
    ("patient.feeding_tube", _("Feeding tube"), "flag", SAID, "", False),
    ("patient.stricture", _("Stricture"), "flag", SAID, "", False),
    ("patient.pregnancy_possible", _("Pregnancy possible"), "flag", SAID, "", False),
)
ORDER: tuple[Plan, ...] = (
    ("release", _("Intended release"), "choice", RELEASES, "", True),
    ("route", _("Route"), "choice", ROUTES, "", True),
    ("reason", _("Why a licensed product will not do"), "long text", (), "", True),
    ("indication", _("Indication"), "text", (), "", False),
    ("supply_days", _("Days of one supply"), "whole number", (), _("Left open: the whole course at once."), False),
    ("repeats.order", _("Repeats order"), "text", (), _("The code of an order of the same patient."), False),
    ("repeats.change", _("What changed since"), "text", (), _("Left open: nothing but the dates."), False),
)
STEP: tuple[Plan, ...] = (
    ("dose", _("Dose"), "text", (), _("Such as 2.5 mg, 0.1 mg/kg or 4 mg/m2."), True),
    ("times", _("At"), "text", (), _("Such as 07:00 13:00; or another timing below."), True),
    ("start_date", _("First day"), "date", (), "", True),
    ("days", _("Days"), "whole number", (), "", True),
)
MORE: tuple[Plan, ...] = (
    ("slots", _("With meals, instead of clock times"), "choices", tuple(slot.value for slot in MealSlot), "", False),
    ("weekdays", _("Only on"), "choices", WEEKDAYS, "", False),
    ("every_n_days", _("Only every so many days"), "whole number", (), _("2 is every other day."), False),
    ("as_needed.least_interval", _("As needed: least time between"), "text", (), _("Such as 6 h."), False),
    ("as_needed.most_per_day", _("As needed: most in 24 hours"), "whole number", (), "", False),
    ("as_needed.reason", _("As needed: for"), "text", (), _("Left open: the indication."), False),
    ("max_dose", _("Most that one calculated dose may be"), "text", (), _("Such as 60 mg."), False),
)
"""What few steps have: folded away until it is used."""


def field(plan: Plan, name: str, values: Mapping[str, str], refusals: Sequence[Refusal]) -> FormField:
    """Return one field of the form."""
    _path, label, kind, options, help_text, required = plan
    choosing = kind in {"choice", "flag", "choices"}
    is_open = len(options) <= FEW or kind == "choices"
    widget = ("open-choice" if is_open else "choice") if choosing else "line"
    value = values.get(name, "")
    return FormField(
        name=name,
        label=str(label),
        help=str(help_text),
        kind="choice" if kind == "flag" else kind,
        widget="lines" if kind in {"list", "long text"} else widget,
        input_type="date" if kind == "date" else "text",
        required=required,
        options=tuple((one, one) for one in options),
        value=value,
        values=tuple(value.split(BETWEEN)) if kind == "choices" else (value,),
        longest=None,
        errors=tuple(said(one) for one in refusals if belongs(one, name)),
    )


def placed(refusals: Sequence[Refusal]) -> tuple[Refusal, ...]:
    """Return refusals with the field of the form that each is about, where it names more than one field."""
    return tuple(replace(one, field=_field_of(one.field)) for one in refusals)


def _field_of(place: str) -> str:
    if place in MEANT:
        return MEANT[place]
    if place.endswith(".as_needed"):
        return f"{place}.least_interval"
    return f"{place}.dose" if STEP_PLACE.fullmatch(place) else place


def in_step(name: str) -> int | None:
    """Return the number of the step that a field is of, from 1; None for all other fields."""
    found = STEP_PLACE.match(name)
    return int(found[1]) + 1 if found else None


def values_typed(post: QueryDict) -> dict[str, str]:
    """Return what was typed and chosen, several choices of one field in one text."""
    return {name: BETWEEN.join(one for one in post.getlist(name) if isinstance(one, str)) for name in post}


def steps_typed(post: QueryDict) -> int:
    """Return how many steps the form holds."""
    text = post.get("steps", "1")
    return min(max(int(text), 1), MOST_STEPS) if text.isascii() and text.isdigit() else 1


def order_json(post: Mapping[str, str], *, steps: int) -> dict[str, Any]:
    """Return what was typed as the order JSON; what was left open is left out."""
    order: dict[str, Any] = {name: post[name].strip() for name in ("reference", "substance") if post.get(name)}
    for name, _label, kind, *_rest in ORDER:
        if text := post.get(name, "").strip():
            _put(order, name.split("."), _meant(kind, text))
    registration = post.get("prescriber.registration", "").strip()
    if registration:
        order["prescriber"] = {"registration": registration}
    order["patient"] = _patient(post)
    order["regimen"] = {"steps": [_step(post, place) for place in range(steps)]}
    return order


def _patient(post: Mapping[str, str]) -> dict[str, Any]:
    code = post.get("patient.code", "").strip().upper()
    if code:
        return {"code": code}
    patient: dict[str, Any] = {}
    for name, _label, kind, *_rest in PATIENT:
        text = post.get(name, "").strip()
        if text:
            _put(patient, name.split(".")[1:], _meant(kind, text))
    for name, unit in (("weight", "kg"), ("height", "cm")):
        if name in patient:
            patient[name]["unit"] = unit
    return patient


def _meant(kind: str, text: str) -> Any:
    if kind == "flag":
        return text == "yes"
    if kind == "choices":
        return text.split(BETWEEN)
    if kind == "whole number":
        return int(text[:9]) if text.isascii() and text.isdigit() else text
    return [line.strip() for line in text.splitlines() if line.strip()] if kind == "list" else text


def _put(into: dict[str, Any], path: list[str], value: Any) -> None:
    for name in path[:-1]:
        into = into.setdefault(name, {})
    into[path[-1]] = value


def _step(post: Mapping[str, str], place: int) -> dict[str, Any]:
    step: dict[str, Any] = {}
    for name, _label, kind, *_rest in (*STEP, *MORE):
        if text := post.get(f"regimen.steps[{place}].{name}", "").strip():
            _put(step, name.split("."), _meant(kind, text))
    if "times" in step:
        step["times"] = [one for one in TIMES.split(step["times"]) if one]
    return step


def typed_from(record: Mapping[str, Any]) -> tuple[dict[str, str], int]:
    """Return the values of the form for the record of an order that is to be changed, and its steps."""
    values = {name: str(record.get(name) or "") for name in ("substance", "reference", "release", "route", "reason")}
    values |= {name: _written(_at(record, name)) for name, *_rest in ORDER if name not in values}
    values["prescriber.registration"] = _written(_at(record, "prescriber.registration"))
    for place, step in enumerate(record["steps"]):
        values |= {f"regimen.steps[{place}].{name}": _written(_at(step, name)) for name, *_rest in (*STEP, *MORE)}
        values[f"regimen.steps[{place}].times"] = " ".join(step.get("times", ()))
    return values, len(record["steps"])


def _at(record: Mapping[str, Any], path: str) -> Any:
    """Return what stands in a record at a path such as "as_needed.reason"; None where nothing does."""
    found: Any = record
    for name in path.split("."):
        found = found.get(name) if isinstance(found, Mapping) else None
    return found


def _written(value: Any) -> str:
    if isinstance(value, list):
        return BETWEEN.join(map(str, value))
    return "" if value is None else str(value)
