"""From an order as asked for to the record that is signed: doses worked out once, lines made, words written.

No database: all that must be looked up comes in as facts. The record holds the patient's code, or a digest
of identity where the patient is not yet on file, and never a name.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.pure.errors import BadInput, refuse_if_any
from prescriptions.body_weight import age_on
from prescriptions.dosing import BodySize, OrderedDose, RoundingRule
from prescriptions.intake.order_request import (
    KnownPatient,
    Measure,
    OrderRequest,
    Repeat,
    StatedAllergies,
    StatedPatient,
)
from prescriptions.line_records import line_record, step_record, supplies_ready_by
from prescriptions.regimens import Line, Regimen, check_weekly, dose_lines, ordered_doses, with_reasons
from prescriptions.repeating import Repeated, check_change, differences


@dataclass(frozen=True, slots=True, kw_only=True)
class PatientFigures:
    """What is known of a patient's body and state, without who it is; None means not recorded."""

    birth_date: date
    sex: str
    allergies: StatedAllergies
    swallowing: str
    weight: Measure | None = None
    height: Measure | None = None
    largest_unit_mm: Decimal | None = None
    feeding_tube: bool | None = None
    stricture: bool | None = None
    pregnancy_possible: bool | None = None

    @property
    def body(self) -> BodySize:
        """What calculated doses are worked out from."""
        return BodySize(
            weight_kg=self.weight.value if self.weight else None,
            height_cm=self.height.value if self.height else None,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class PrescriberFacts:
    """Who prescribed: ``user_id`` where they sign in here, else name and registration as written."""

    name: str
    registration: str
    user_id: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderContext:
    """What was looked up for one request: ``source`` of the order, its people, the substance's rule.

    ``known`` holds the figures on file where the request names a patient by code; ``amends`` what this
    version replaces ({"version": n, "change_reason": text}); ``repeated`` is the order that the request repeats.
    """

    source: str
    substance: str
    substance_id: int
    rule: RoundingRule
    prescriber: PrescriberFacts
    zone: ZoneInfo
    today: date
    known: PatientFigures | None = None
    amends: Mapping[str, Any] | None = None
    weekly_only: bool = False
    repeated: Repeated | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ComposedOrder:
    """One order version ready to be signed and kept: its record, its exact text, its doses and lines.

    ``ready_by`` is when the first supply must be ready, ``supplies_ready_by`` when each is, from the first on.
    """

    record: Mapping[str, Any]
    text: str
    digest: str
    regimen: Regimen
    doses: tuple[OrderedDose, ...]
    lines: tuple[Line, ...]
    ready_by: datetime
    supplies_ready_by: tuple[datetime, ...]
    prescriber: PrescriberFacts
    substance_id: int

    @property
    def starts_on(self) -> date:
        """The day of the first dose."""
        return min(line.start_date for line in self.lines)

    @property
    def ends_on(self) -> date:
        """The day of the last dose."""
        return max(line.stop_date for line in self.lines)


def figures_stated(patient: StatedPatient) -> PatientFigures:
    """Return the figures of a patient as an order states them."""
    return PatientFigures(
        birth_date=patient.birth_date,
        sex=patient.sex,
        allergies=patient.allergies,
        swallowing=patient.swallowing,
        weight=patient.weight,
        height=patient.height,
        largest_unit_mm=patient.largest_unit_mm,
        feeding_tube=patient.feeding_tube,
        stricture=patient.stricture,
        pregnancy_possible=patient.pregnancy_possible,
    )


def identity_digest(patient: StatedPatient) -> str:
    """Return the digest that stands for who the patient is."""
    return digest_of(
        canonical_text(
            {
                "system": patient.identifier.system,
                "value": patient.identifier.value,
                "family_name": patient.family_name,
                "given_name": patient.given_name,
                "birth_date": patient.birth_date,
            }
        )
    )


def compose(request: OrderRequest, context: OrderContext) -> ComposedOrder:
    """Work out doses and lines of `request` and write its record.

    Raises BadInput where a dose cannot be worked out, the lines cannot be made, the course is over, a once-a-week
    substance is to be taken otherwise, or a repeated order differs and does not say so.
    """
    figures = _figures(request, context)
    regimen = with_reasons(request.regimen, request.indication)
    doses = ordered_doses(regimen, body=figures.body, rule=context.rule)
    lines = dose_lines(regimen, body=figures.body, rule=context.rule, supply_days=request.supply_days)
    refuse_if_any(BadInput, check_weekly(regimen) if context.weekly_only else [])
    _check_course(lines, figures, context.today)
    ready = supplies_ready_by(lines, request.ready_by, context.zone)
    composed = replace(request, regimen=regimen)
    record = _record(composed, context, figures=figures, doses=doses, lines=lines, ready_by=ready[0])
    record |= {"repeats": _repeats(request.repeats, context.repeated, record)}
    text = canonical_text(record)
    return ComposedOrder(
        record=record,
        text=text,
        digest=digest_of(text),
        regimen=regimen,
        doses=doses,
        lines=lines,
        ready_by=ready[0],
        supplies_ready_by=ready,
        prescriber=context.prescriber,
        substance_id=context.substance_id,
    )


def _repeats(repeats: Repeat | None, repeated: Repeated | None, record: Mapping[str, Any]) -> dict[str, Any] | None:
    """Return what is repeated and how it differs, for the record; raises BadInput for a difference left unsaid."""
    if repeats is None:
        return None
    if repeated is None:
        raise ValueError("an order that repeats another needs it looked up")
    found = differences(repeated.record, json.loads(canonical_text(record)))
    refuse_if_any(BadInput, check_change(repeats.change, found))
    return {
        "order": repeated.order,
        "version": repeated.version,
        "digest": repeated.digest,
        "change": repeats.change,
        "differences": found,
    }


def _figures(request: OrderRequest, context: OrderContext) -> PatientFigures:
    if isinstance(request.patient, StatedPatient):
        return figures_stated(request.patient)
    if context.known is None:
        raise ValueError("a patient named by code needs the figures on file")
    return context.known


def _check_course(lines: tuple[Line, ...], figures: PatientFigures, today: date) -> None:
    starts_on, ends_on = min(one.start_date for one in lines), max(one.stop_date for one in lines)
    if ends_on < today:
        raise BadInput.because(
            "regimen",
            "the course is over before it was ordered",
            value=ends_on.isoformat(),
            limit=today.isoformat(),
            accepted=f"a last day from {today.isoformat()} on",
            rule="course-over",
        )
    if starts_on < figures.birth_date:
        raise BadInput.because("regimen", "the start is before birth", value=starts_on.isoformat(), rule="date")


def _record(
    request: OrderRequest,
    context: OrderContext,
    *,
    figures: PatientFigures,
    doses: tuple[OrderedDose, ...],
    lines: tuple[Line, ...],
    ready_by: datetime,
) -> dict[str, Any]:
    patient = request.patient
    key = {"code": patient.code} if isinstance(patient, KnownPatient) else {"identity": identity_digest(patient)}
    starts_on = min(line.start_date for line in lines)
    return {
        "what": "dose order",
        "source": context.source,
        "reference": request.reference,
        "patient": key | _figures_record(figures, starts_on),
        "substance": context.substance,
        "release": request.release,
        "route": request.route,
        "reason": request.reason,
        "indication": request.indication,
        "sender_words": request.sender_words,
        "legal_basis": request.legal_basis,
        "prescriber": {"name": context.prescriber.name, "registration": context.prescriber.registration},
        "ready_by": ready_by,
        "amends": context.amends,
        "supply_days": request.supply_days,
        "steps": [step_record(step, dose) for step, dose in zip(request.regimen.steps, doses, strict=True)],
        "lines": [line_record(number, line) for number, line in enumerate(lines, start=1)],
    }


def _figures_record(figures: PatientFigures, starts_on: date) -> dict[str, Any]:
    return {
        "age_at_start_days": age_on(figures.birth_date, starts_on).days,
        "sex": figures.sex,
        "weight": _measure_record(figures.weight, "kg"),
        "height": _measure_record(figures.height, "cm"),
        "allergies": figures.allergies,
        "swallowing": figures.swallowing,
        "largest_unit_mm": figures.largest_unit_mm,
        "feeding_tube": figures.feeding_tube,
        "stricture": figures.stricture,
        "pregnancy_possible": figures.pregnancy_possible,
    }


def _measure_record(measure: Measure | None, unit: str) -> dict[str, Any] | None:
    if measure is None:
        return None
    return {"value": measure.value, "unit": unit, "measured_on": measure.measured_on}
