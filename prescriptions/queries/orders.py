"""Orders as each person may see them: names for those who treat, codes for all others."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from itertools import zip_longest
from typing import Any

from django.db.models import F, Prefetch, Q, QuerySet

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.quantities import plain
from dosewright.ground.pure.roles import Actor, Role, authorise_read
from dosewright.ground.rest import KeysetPage
from dosewright.ground.scope import find, record_read, record_reads
from prescriptions.models import Alert, DoseLine, Order, OrderVersion, Patient
from prescriptions.queries.alerts import AlertFacts, alert_facts, alerts_of, latest_reports, standing_fingerprints
from prescriptions.queries.facts import LineFacts, SignatureFacts, current_version, line_of, signatures_of
from prescriptions.queries.regimen import record_of
from prescriptions.repeating import NOTHING, Difference, step_said
from prescriptions.states import STATES

TREATING = (Role.PRESCRIBER, Role.PHARMACIST)
"""Roles that read names with an order."""

BETWEEN = "~"


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderRow:
    """One order in a list; ``patient_name`` is empty for those who see codes."""

    code: str
    state: str
    patient: str
    patient_name: str
    substance: str
    release: str
    doses_mg: tuple[Decimal, ...]
    starts_on: date
    ends_on: date
    ready_by: datetime
    prescriber: str
    order_version: int
    version: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StepView:
    """One step of the regimen in words, with the dose as calculated and as ordered."""

    in_words: str
    rounding: str
    calculated_mg: Decimal
    ordered_mg: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class VersionView:
    """One version of an order and what was signed under it."""

    number: int
    submitted_at: datetime
    submitted_by: str
    change_reason: str
    digest: str
    steps: tuple[StepView, ...]
    signatures: tuple[SignatureFacts, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RemarkView:
    """One thing said about the order."""

    what: str
    text: str
    by: str
    at: datetime
    version: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportView:
    """The latest report of one screen; ``record`` is what it looked at."""

    screen: str
    occasion: str
    at: datetime
    digest: str
    record: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class RepeatView:
    """The order that is repeated beside the one that repeats it, step by step, and everything that differs."""

    order: str
    version: int
    change: str
    steps: tuple[BesideView, ...]
    differences: tuple[Difference, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BesideView:
    """One step as it was and as it is now, dates apart."""

    before: str
    now: str
    is_same: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderView:
    """One order with all that was prescribed, said, found and signed; ``version`` is the record's own."""

    code: str
    state: str
    order_version: int
    version: int
    patient: str
    patient_name: str
    birth_date: date | None
    source: str
    reference: str
    received_at: datetime
    ready_by: datetime
    substance: str
    release: str
    route: str
    reason: str
    indication: str
    sender_words: str
    legal_basis: str
    prescriber: str
    prescriber_registration: str
    starts_on: date
    ends_on: date
    supply_days: int | None
    repeats: RepeatView | None
    steps: tuple[StepView, ...]
    lines: tuple[LineFacts, ...]
    alerts: tuple[AlertFacts, ...]
    reports: tuple[ReportView, ...]
    signatures: tuple[SignatureFacts, ...]
    versions: tuple[VersionView, ...]
    remarks: tuple[RemarkView, ...]
    patient_figures: dict[str, Any]


def orders_page(
    actor: Actor, *, after: str = "", limit: int = 50, state: str = "", patient: str = "", at: datetime
) -> KeysetPage[OrderRow]:
    """Return the orders that follow the key `after`, the earliest due first; raises NotAllowed, BadInput."""
    authorise_read(actor, "order")
    rows = Order.objects.select_related("patient").filter(site_id=actor.site_id).order_by("ready_by", "code")
    if state:
        if state not in STATES:
            raise BadInput.because("state", "is no state of an order", value=state[:40], accepted=", ".join(STATES))
        rows = rows.filter(state=state)
    if patient:
        rows = rows.filter(patient__code=patient)
    page = list(_following(rows, after)[: limit + 1])
    named = actor.has(*TREATING)
    if named:
        record_reads(actor, patients=[one.patient.code for one in page[:limit]], view="orders", at=at)
    versions = _current_versions(page[:limit])
    items = tuple(_row(order, versions[order.pk], named=named) for order in page[:limit])
    return KeysetPage(items=items, next_after=_key(page[limit - 1]) if len(page) > limit else "")


def one_order(actor: Actor, code: str, *, at: datetime) -> OrderView:
    """Return one order; a look at names is recorded. Raises NotAllowed, NotThere."""
    authorise_read(actor, "order")
    order = find(actor, Order, code)
    version = current_version(order)
    named = actor.has(*TREATING)
    record = record_of(version)
    name = _patient_name(actor, order.patient, view="order", at=at)
    return OrderView(
        code=order.code,
        state=order.state,
        order_version=order.current,
        version=order.version,
        patient=order.patient.code,
        patient_name=name,
        birth_date=order.patient.birth_date if named else None,
        source=order.source,
        reference=order.reference,
        received_at=order.received_at,
        ready_by=order.ready_by,
        substance=version.substance.name,
        release=version.release,
        route=version.route,
        reason=version.reason,
        indication=record["indication"] or "",
        sender_words=(record["sender_words"] or "") if named else "",
        legal_basis=version.legal_basis,
        prescriber=version.prescriber_name,
        prescriber_registration=version.prescriber_registration,
        starts_on=version.starts_on,
        ends_on=version.ends_on,
        supply_days=record["supply_days"],
        repeats=_repeats(version, record),
        steps=_steps(version),
        lines=tuple(line_of(one) for one in version.lines.order_by("number")),
        alerts=alerts_of(version),
        reports=_reports(version),
        signatures=signatures_of(version),
        versions=tuple(_version(one) for one in order.versions.order_by("number")),
        remarks=_remarks(order),
        patient_figures=record["patient"],
    )


def one_alert(actor: Actor, code: str) -> AlertFacts:
    """Return one alert; raises NotAllowed, NotThere."""
    authorise_read(actor, "order")
    row = find(actor, Alert, code, path="order_version__order__site_id")
    return alert_facts(row, standing=row.fingerprint in standing_fingerprints(row.order_version))


def alerts_page(actor: Actor, *, after: str = "", limit: int = 50, order: str = "") -> KeysetPage[AlertFacts]:
    """Return alerts of current versions by code, of one order where it is named; raises NotAllowed."""
    authorise_read(actor, "order")
    rows = Alert.objects.select_related("order_version__order").filter(
        order_version__order__site_id=actor.site_id, code__gt=after
    )
    if order:
        rows = rows.filter(order_version__order__code=order)
    page = list(rows.order_by("code")[: limit + 1])
    items = tuple(
        alert_facts(row, standing=row.fingerprint in standing_fingerprints(row.order_version)) for row in page[:limit]
    )
    return KeysetPage(items=items, next_after=page[limit - 1].code if len(page) > limit else "")


def _following(rows: QuerySet[Order], after: str) -> QuerySet[Order]:
    if not after:
        return rows
    moment, _, code = after.partition(BETWEEN)
    try:
        ready_by = datetime.fromisoformat(moment)
    except ValueError:
        raise BadInput.because("after", "is no key of this list", value=after[:60], accepted="next_after") from None
    if ready_by.tzinfo is None:
        raise BadInput.because("after", "is no key of this list", value=after[:60], accepted="next_after")
    return rows.filter(Q(ready_by__gt=ready_by) | Q(ready_by=ready_by, code__gt=code))


def _key(order: Order) -> str:
    return f"{order.ready_by.isoformat()}{BETWEEN}{order.code}"


def _current_versions(orders: list[Order]) -> dict[int, OrderVersion]:
    rows = OrderVersion.objects.filter(order__in=[one.pk for one in orders], number=F("order__current"))
    lines = Prefetch("lines", queryset=DoseLine.objects.order_by("number"))
    return {one.order_id: one for one in rows.select_related("substance").prefetch_related(lines)}


def _row(order: Order, version: OrderVersion, *, named: bool) -> OrderRow:
    return OrderRow(
        code=order.code,
        state=order.state,
        patient=order.patient.code,
        patient_name=_name_of(order.patient) if named else "",
        substance=version.substance.name,
        release=version.release,
        doses_mg=tuple(plain(one.dose_mg) for one in version.lines.all()),
        starts_on=version.starts_on,
        ends_on=version.ends_on,
        ready_by=order.ready_by,
        prescriber=version.prescriber_name or version.prescriber_registration,
        order_version=order.current,
        version=order.version,
    )


def _patient_name(actor: Actor, patient: Patient, *, view: str, at: datetime) -> str:
    if not actor.has(*TREATING):
        return ""
    record_read(actor, patient=patient.code, view=view, at=at)
    return _name_of(patient)


def _name_of(patient: Patient) -> str:
    return f"{patient.family_name}, {patient.given_name}"


def _steps(version: OrderVersion) -> tuple[StepView, ...]:
    return tuple(
        StepView(
            in_words=one["in_words"],
            rounding=one["rounding"],
            calculated_mg=Decimal(one["calculated_mg"]),
            ordered_mg=Decimal(one["ordered_mg"]),
        )
        for one in record_of(version)["steps"]
    )


def _repeats(version: OrderVersion, record: Mapping[str, Any]) -> RepeatView | None:
    said = record["repeats"]
    if said is None or version.repeats is None:
        return None
    before = record_of(version.repeats)
    pairs = zip_longest(map(step_said, before["steps"]), map(step_said, record["steps"]), fillvalue=NOTHING)
    return RepeatView(
        order=said["order"],
        version=said["version"],
        change=said["change"],
        steps=tuple(BesideView(before=old, now=new, is_same=old == new) for old, new in pairs),
        differences=tuple(Difference(**one) for one in said["differences"]),
    )


def _version(version: OrderVersion) -> VersionView:
    return VersionView(
        number=version.number,
        submitted_at=version.submitted_at,
        submitted_by=version.submitted_by.username,
        change_reason=version.change_reason,
        digest=version.digest,
        steps=_steps(version),
        signatures=signatures_of(version),
    )


def _reports(version: OrderVersion) -> tuple[ReportView, ...]:
    return tuple(
        ReportView(
            screen=one.screen,
            occasion=one.occasion,
            at=one.at,
            digest=one.digest,
            record=json.loads(one.text)["record"],
        )
        for one in latest_reports(version)
    )


def _remarks(order: Order) -> tuple[RemarkView, ...]:
    rows = order.remarks.select_related("by", "order_version").order_by("pk")
    return tuple(
        RemarkView(what=row.what, text=row.text, by=row.by.username, at=row.at, version=row.order_version.number)
        for row in rows
    )
