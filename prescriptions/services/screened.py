"""What the screen "patient" looks at, gathered from the tables, and what it found."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from dosewright.ground.models import Site
from dosewright.ground.pure.quantities import Basis, plain
from prescriptions.calendar import daily_totals_mg, summed_mg
from prescriptions.dose_limits import Limit, Per
from prescriptions.findings import Finding, Severity
from prescriptions.models import DoseLimit, Order, OrderVersion, Patient, Substance
from prescriptions.queries.facts import current_version
from prescriptions.queries.figures import figures_on_file
from prescriptions.queries.regimen import administrations_of, bases_of
from prescriptions.screen_facts import Allergies, AllergyEntry, PatientFacts, ScreenInput, SiteRules, SubstanceFacts
from prescriptions.screening import screen
from prescriptions.services.rescreening import ACTIVE
from prescriptions.services.taking import same_person

WEEK = timedelta(days=6)
"""How far around a course a once-a-week substance is looked for: a seventh day is a week later."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Screened:
    """What the screen "patient" found on one order version, and the record of what it looked at."""

    order: str
    version: int
    findings: tuple[Finding, ...]
    record: Mapping[str, Any]


def screen_patient(order: Order, *, occasion: str, at: datetime, print_start: date | None = None) -> Screened:
    """Hold the order's current version against patient, substance, site and the patient's other orders."""
    version = current_version(order)
    facts = _screen_input(order, version, occasion=occasion, at=at, print_start=print_start)
    findings = (*screen(facts), *_doubles(order))
    return Screened(order=order.code, version=version.number, findings=findings, record=_looked_at(facts))


def _screen_input(
    order: Order, version: OrderVersion, *, occasion: str, at: datetime, print_start: date | None
) -> ScreenInput:
    today = at.astimezone(order.site.zone).date()
    others = _other_orders(order, version)
    values = order.site.values
    return ScreenInput(
        patient=_patient_facts(order.patient),
        substance=_substance_facts(version.substance, today),
        administrations=administrations_of(version),
        basis=bases_of(version),
        release_ordered=version.release,
        today=today,
        print_start_date=print_start or _print_start(order, order.site, occasion, today),
        site=SiteRules(controlled_on=values.controlled_on, hazardous_on=values.hazardous_on),
        route=version.route,
        other_daily_mg=_other_daily_mg(version, others),
        other_orders=tuple(one.order.code for one in others if _overlap(one, version, timedelta(0))),
    )


def _print_start(order: Order, site: Site, occasion: str, today: date) -> date:
    planned = order.ready_by.astimezone(site.zone).date() - timedelta(days=site.values.lead_time_days)
    if occasion == "order":
        return max(today, planned)
    return today if occasion in {"plan", "start"} else min(today, planned)


def _patient_facts(patient: Patient) -> PatientFacts:
    figures = figures_on_file(patient)
    entries = tuple(
        AllergyEntry(text=row.text, substance=row.substance.name if row.substance else None)
        for row in patient.allergies.select_related("substance").order_by("pk")
    )
    return PatientFacts(
        birth_date=figures.birth_date,
        sex=figures.sex,
        allergies=Allergies(status=figures.allergies.status, entries=entries),
        swallowing=figures.swallowing,
        weight_kg=figures.weight.value if figures.weight else None,
        weight_date=figures.weight.measured_on if figures.weight else None,
        height_cm=figures.height.value if figures.height else None,
        feeding_tube=figures.feeding_tube,
        stricture=figures.stricture,
        pregnancy_possible=figures.pregnancy_possible,
    )


def _substance_facts(substance: Substance, today: date) -> SubstanceFacts:
    limits = substance.limits.filter(since__lte=today).order_by("pk")
    return SubstanceFacts(
        name=substance.name,
        weekly_only=substance.weekly_only,
        controlled=substance.controlled,
        hazardous=substance.hazardous,
        narrow_index=substance.narrow_index,
        limits=tuple(_limit(row) for row in limits if row.until is None or row.until >= today),
    )


def _limit(row: DoseLimit) -> Limit:
    return Limit(
        per=Per(row.per),
        source=row.source,
        high=plain(row.high_mg),
        low=None if row.low_mg is None else plain(row.low_mg),
        basis=Basis(row.basis),
        severity=Severity(row.severity),
        route=row.route,
        from_days=row.age_from_days,
        to_days=row.age_to_days,
    )


def _other_orders(order: Order, version: OrderVersion) -> list[OrderVersion]:
    """Return the current versions of the patient's other active orders of the moiety, near in time.

    For a once-a-week substance the week on either side counts too.
    """
    others = OrderVersion.objects.select_related("order").filter(
        order__patient=order.patient, order__state__in=ACTIVE, substance=version.substance
    )
    near = _margin(version)
    return [
        one
        for one in others.exclude(order=order).order_by("order__code", "number")
        if one.number == one.order.current and _overlap(one, version, near)
    ]


def _margin(version: OrderVersion) -> timedelta:
    return WEEK if version.substance.weekly_only else timedelta(0)


def _overlap(one: OrderVersion, other: OrderVersion, margin: timedelta) -> bool:
    return one.starts_on - margin <= other.ends_on and other.starts_on - margin <= one.ends_on


def _other_daily_mg(version: OrderVersion, others: Sequence[OrderVersion]) -> dict[date, Decimal]:
    near = _margin(version)
    first, last = version.starts_on - near, version.ends_on + near
    totals = summed_mg(*(daily_totals_mg(administrations_of(one)) for one in others))
    return {day: dose_mg for day, dose_mg in totals.items() if first <= day <= last}


def _doubles(order: Order) -> tuple[Finding, ...]:
    """Name every patient of the site with the same names and birth date: orders may lie under both."""
    patient = order.patient
    born = Patient.objects.filter(site_id=order.site_id, birth_date=patient.birth_date).exclude(pk=patient.pk)
    message = "another patient has the same names and birth date: one person on file twice, or two people"
    return tuple(
        Finding(
            rule="patient-double",
            severity=Severity.REASON,
            field="patient.identifier",
            value=one.code,
            message=message,
            source="house rule, common practice, no source",
        )
        for one in born.order_by("code")
        if same_person(
            one, family_name=patient.family_name, given_name=patient.given_name, birth_date=patient.birth_date
        )
    )


def _looked_at(facts: ScreenInput) -> dict[str, Any]:
    """Return the figures that the screen saw, without who the patient is."""
    patient = facts.patient
    return {
        "today": facts.today,
        "print_start": facts.print_start_date,
        "age_days": facts.age_at_start.days,
        "sex": patient.sex,
        "weight_kg": patient.weight_kg,
        "weight_date": patient.weight_date,
        "height_cm": patient.height_cm,
        "swallowing": patient.swallowing,
        "allergies": patient.allergies.status,
        "allergies_listed": len(patient.allergies.entries),
        "limits_on_file": len(facts.substance.limits),
        "other_orders": list(facts.other_orders),
        "highest_daily_mg": max(facts.all_daily_mg.values()),
        "doses": len(facts.administrations),
    }
