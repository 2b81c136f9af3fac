"""What printing and labels must know of an order: frozen facts read by code, for guards and sizing.

These take no actor: they serve services that hold their own. Names come from `label_patient` alone.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from dosewright.ground.models import Signature
from dosewright.ground.pure.errors import NotThere
from dosewright.ground.pure.quantities import plain
from prescriptions.body_weight import age_on
from prescriptions.intake.timing_json import read_schedule
from prescriptions.models import DoseLine, Order, OrderVersion, PatientIdentifier
from prescriptions.queries.alerts import AlertFacts, alerts_of, screens_on_order
from prescriptions.queries.figures import figures_on_file
from prescriptions.states import VERIFIED
from prescriptions.timing import Schedule, moment_text


@dataclass(frozen=True, slots=True, kw_only=True)
class LineFacts:
    """One dose line: how much, when, how often.

    ``times`` are the doses of a day as people read them ("07:00", "with lunch", "when needed"), ``taken`` times and
    days in words; ``doses_per_day`` [doses, >= 1] falls on a day on which it is taken, as needed at most;
    ``supply`` of ``supplies`` [>= 1] is due ``ready_by``; ``committed_to`` is the plan that holds it, or empty.
    """

    code: str
    order: str
    order_version: int
    number: int
    dose_mg: Decimal
    times: tuple[str, ...]
    taken: str
    schedule: Schedule
    administrations: int
    starts_on: date
    ends_on: date
    supply: int
    supplies: int
    ready_by: datetime
    committed_to: str = ""

    @property
    def times_text(self) -> str:
        """The times of a day as people read them."""
        return ", ".join(self.times)

    @property
    def doses_per_day(self) -> int:
        """How many doses fall on a day on which it is taken; as needed the most there may be."""
        return len(self.schedule.moments)

    @property
    def dates(self) -> tuple[date, ...]:
        """The days on which it is taken, or may be needed."""
        return self.schedule.dates(self.starts_on, self.ends_on)


@dataclass(frozen=True, slots=True, kw_only=True)
class SignatureFacts:
    """One signature under the order's current version."""

    printed_name: str
    registration: str
    action: str
    meaning: str
    at: datetime
    user_id: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PatientFit:
    """What the size of a unit depends on: ages at the first dose, weight [kg] and the day it was taken."""

    age_days: int
    age_months: int
    sex: str
    swallowing: str
    weight_kg: Decimal | None = None
    weight_on: date | None = None
    largest_unit_mm: Decimal | None = None

    @property
    def age_years(self) -> int:
        """Completed years at the first dose."""
        return self.age_months // 12


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderFacts:
    """One order with its current version, as the houses on the right need it."""

    code: str
    site_id: int
    state: str
    version: int
    digest: str
    reference: str
    source: str
    patient: str
    fit: PatientFit
    substance: str
    narrow_index: bool
    warnings: tuple[str, ...]
    release: str
    route: str
    reason: str
    legal_basis: str
    prescriber_name: str
    prescriber_registration: str
    prescriber_id: int | None
    received_at: datetime
    ready_by: datetime
    starts_on: date
    ends_on: date
    lines: tuple[LineFacts, ...]
    signatures: tuple[SignatureFacts, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelPatient:
    """Who a label is for: the only place from which names leave this house; record the look."""

    code: str
    family_name: str
    given_name: str
    birth_date: date
    identifier_system: str
    identifier: str
    language: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LineToPlan:
    """One verified line that no plan holds, with the order it belongs to."""

    order: OrderFacts
    line: LineFacts


def order_state(order_code: str) -> str:
    """Return the state of an order, read now; raises NotThere."""
    state = Order.objects.filter(code=order_code).values_list("state", flat=True).first()
    if state is None:
        raise _not_there("order", order_code)
    return state


def order_facts(order_code: str) -> OrderFacts:
    """Return an order with its current version's lines; raises NotThere."""
    order = Order.objects.select_related("patient").filter(code=order_code).first()
    if order is None:
        raise _not_there("order", order_code)
    return _order_facts(order, current_version(order))


def line_facts(line_code: str) -> LineFacts:
    """Return one dose line by its code; raises NotThere."""
    line = DoseLine.objects.select_related("order", "order_version").filter(code=line_code).first()
    if line is None:
        raise _not_there("line", line_code)
    return line_of(line)


def label_patient(order_code: str) -> LabelPatient:
    """Return who the order is for, with the first identifier on file; raises NotThere.

    For labels only; the caller records the look (`scope.record_read`).
    """
    order = Order.objects.select_related("patient").filter(code=order_code).first()
    if order is None:
        raise _not_there("order", order_code)
    patient = order.patient
    identifier = PatientIdentifier.objects.filter(patient=patient).order_by("pk").first()
    return LabelPatient(
        code=patient.code,
        family_name=patient.family_name,
        given_name=patient.given_name,
        birth_date=patient.birth_date,
        identifier_system=identifier.system if identifier else "",
        identifier=identifier.value if identifier else patient.code,
        language=patient.language,
    )


def lines_to_plan(site_id: int) -> tuple[LineToPlan, ...]:
    """Return the lines of verified orders of a site that no plan holds, the earliest due first."""
    orders = (
        Order.objects.select_related("patient").filter(site_id=site_id, state=VERIFIED).order_by("ready_by", "code")
    )
    facts = [_order_facts(order, current_version(order)) for order in orders]
    return tuple(LineToPlan(order=one, line=line) for one in facts for line in one.lines if not line.committed_to)


def screens_reported(order_code: str) -> frozenset[str]:
    """Return which screens have reported on the version of an order that holds now; raises NotThere."""
    order = Order.objects.filter(code=order_code).first()
    if order is None:
        raise _not_there("order", order_code)
    return screens_on_order(current_version(order))


def standing_alerts(order_code: str) -> tuple[AlertFacts, ...]:
    """Return the alerts that the latest screens still raise on an order; raises NotThere."""
    order = Order.objects.filter(code=order_code).first()
    if order is None:
        raise _not_there("order", order_code)
    return tuple(one for one in alerts_of(current_version(order)) if one.standing)


def current_version(order: Order) -> OrderVersion:
    """Return the version that holds now."""
    return OrderVersion.objects.select_related("substance", "order").get(order=order, number=order.current)


def line_of(line: DoseLine) -> LineFacts:
    """Return one line's row as frozen facts."""
    schedule = read_schedule(json.loads(line.schedule_text))
    return LineFacts(
        code=line.code,
        order=line.order.code,
        order_version=line.order_version.number,
        number=line.number,
        dose_mg=plain(line.dose_mg),
        times=tuple(dict.fromkeys(moment_text(one) for one in schedule.moments)),
        taken=schedule.words,
        schedule=schedule,
        administrations=line.administrations,
        starts_on=line.starts_on,
        ends_on=line.ends_on,
        supply=line.supply,
        supplies=line.supplies,
        ready_by=line.ready_by,
        committed_to=line.committed_to,
    )


def signatures_of(version: OrderVersion) -> tuple[SignatureFacts, ...]:
    """Return the signatures under exactly this version's text and the decisions made on this version."""
    rows = Signature.objects.filter(
        subject=version.order.code, subject_version=version.number, subject_kind="order"
    ).order_by("pk")
    return tuple(
        SignatureFacts(
            printed_name=row.printed_name,
            registration=row.registration,
            action=row.action,
            meaning=row.meaning,
            at=row.at,
            user_id=row.signer_id,
        )
        for row in rows
    )


def _order_facts(order: Order, version: OrderVersion) -> OrderFacts:
    substance = version.substance
    lines = version.lines.select_related("order", "order_version").order_by("number")
    return OrderFacts(
        code=order.code,
        site_id=order.site_id,
        state=order.state,
        version=version.number,
        digest=version.digest,
        reference=order.reference,
        source=order.source,
        patient=order.patient.code,
        fit=_fit(order, version),
        substance=substance.name,
        narrow_index=substance.narrow_index,
        warnings=tuple(json.loads(substance.warnings_text)),
        release=version.release,
        route=version.route,
        reason=version.reason,
        legal_basis=version.legal_basis,
        prescriber_name=version.prescriber_name,
        prescriber_registration=version.prescriber_registration,
        prescriber_id=version.prescriber_id,
        received_at=order.received_at,
        ready_by=order.ready_by,
        starts_on=version.starts_on,
        ends_on=version.ends_on,
        lines=tuple(line_of(line) for line in lines),
        signatures=signatures_of(version),
    )


def _fit(order: Order, version: OrderVersion) -> PatientFit:
    figures = figures_on_file(order.patient)
    age = age_on(figures.birth_date, max(version.starts_on, figures.birth_date))
    return PatientFit(
        age_days=age.days,
        age_months=age.months,
        sex=figures.sex,
        swallowing=figures.swallowing,
        weight_kg=figures.weight.value if figures.weight else None,
        weight_on=figures.weight.measured_on if figures.weight else None,
        largest_unit_mm=figures.largest_unit_mm,
    )


def _not_there(field: str, code: str) -> NotThere:
    return NotThere.because(field, "no such record", value=code[:40], rule="code")  # type: ignore[return-value]
