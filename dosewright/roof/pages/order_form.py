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

MOST_STEPS = 60
SAID = ("no", "yes")
TIMES = re.compile(r"[\s,;]+")

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
)
STEP: tuple[Plan, ...] = (
    ("dose", _("Dose"), "text", (), _("Such as 2.5 mg."), True),
    ("times", _("At"), "text", (), _("Such as 07:00 13:00."), True),
    ("start_date", _("First day"), "date", (), "", True),
    ("days", _("Days"), "whole number", (), "", True),
)


def field(plan: Plan, name: str, values: Mapping[str, str], refusals: Sequence[Refusal]) -> FormField:
    """Return one field of the form."""
    _path, label, kind, options, help_text, required = plan
    choosing = kind in {"choice", "flag"}
    widget = ("open-choice" if len(options) <= FEW else "choice") if choosing else "line"
    return FormField(
        name=name,
        label=str(label),
        help=str(help_text),
        kind="choice" if kind == "flag" else kind,
        widget="lines" if kind in {"list", "long text"} else widget,
        input_type="date" if kind == "date" else "text",
        required=required,
        options=tuple((one, one) for one in options),
        value=values.get(name, ""),
        values=(values.get(name, ""),),
        longest=None,
        errors=tuple(said(one) for one in refusals if belongs(one, name)),
    )


def placed(refusals: Sequence[Refusal]) -> tuple[Refusal, ...]:
    """Return refusals with the field of the form that each is about, where it names more than one field."""
    return tuple(replace(one, field=_field_of(one.field)) for one in refusals)


def _field_of(place: str) -> str:
    if place in MEANT:
        return MEANT[place]
    return f"{place}.dose" if STEP_PLACE.fullmatch(place) else place


def in_step(name: str) -> int | None:
    """Return the number of the step that a field is of, from 1; None for all other fields."""
    found = STEP_PLACE.match(name)
    return int(found[1]) + 1 if found else None


def steps_typed(post: QueryDict) -> int:
    """Return how many steps the form holds."""
    text = post.get("steps", "1")
    return min(max(int(text), 1), MOST_STEPS) if text.isascii() and text.isdigit() else 1


def order_json(post: Mapping[str, str], *, steps: int) -> dict[str, Any]:
    """Return what was typed as the order JSON; what was left open is left out."""
    order: dict[str, Any] = {name: post[name].strip() for name in ("reference", "substance") if post.get(name)}
    order |= {name: post[name].strip() for name, *_rest in ORDER if post.get(name, "").strip()}
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
    return [line.strip() for line in text.splitlines() if line.strip()] if kind == "list" else text


def _put(into: dict[str, Any], path: list[str], value: Any) -> None:
    for name in path[:-1]:
        into = into.setdefault(name, {})
    into[path[-1]] = value


def _step(post: Mapping[str, str], place: int) -> dict[str, Any]:
    typed = {name: post.get(f"regimen.steps[{place}].{name}", "").strip() for name, *_rest in STEP}
    step: dict[str, Any] = {name: text for name, text in typed.items() if text}
    if "times" in step:
        step["times"] = [one for one in TIMES.split(step["times"]) if one]
    if step.get("days", "").isascii() and step.get("days", "").isdigit():
        step["days"] = int(step["days"][:9])
    return step


def typed_from(record: Mapping[str, Any]) -> tuple[dict[str, str], int]:
    """Return the values of the form for the record of an order that is to be changed, and its steps."""
    values = {name: str(record.get(name) or "") for name in ("substance", "reference", "release", "route", "reason")}
    values["indication"] = str(record.get("indication") or "")
    values["prescriber.registration"] = str((record.get("prescriber") or {}).get("registration") or "")
    for place, step in enumerate(record["steps"]):
        values |= {f"regimen.steps[{place}].{name}": _written(step.get(name)) for name, *_rest in STEP}
    return values, len(record["steps"])


def _written(value: Any) -> str:
    if isinstance(value, list):
        return " ".join(map(str, value))
    return "" if value is None else str(value)
