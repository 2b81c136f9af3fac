"""What the screen "patient" looks at, gathered from the tables, and what it found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from dosewright.ground.models import Site
from dosewright.ground.pure.quantities import Basis, plain
from prescriptions.dose_limits import Limit, Per
from prescriptions.findings import Finding, Severity
from prescriptions.models import DoseLimit, Order, OrderVersion, Patient, Substance
from prescriptions.queries.facts import current_version
from prescriptions.queries.figures import figures_on_file, weight_before
from prescriptions.queries.moiety import earlier_order, other_daily_mg, other_versions, overlap
from prescriptions.queries.naming import names_on_file, tidy_name
from prescriptions.queries.persons import persons_like
from prescriptions.queries.regimen import administrations_of, bases_of
from prescriptions.screen_facts import Allergies, AllergyEntry, PatientFacts, ScreenInput, SiteRules, SubstanceFacts
from prescriptions.screening import screen
from prescriptions.screening.likeness import substances_alike
from prescriptions.screening.persons import Person, screen_persons


@dataclass(frozen=True, slots=True, kw_only=True)
class Screened:
    """What the screen "patient" found on one order version, and the record of what it looked at."""

    order: str
    version: int
    findings: tuple[Finding, ...]
    record: Mapping[str, Any]


def screen_patient(order: Order, *, occasion: str, at: datetime, print_start: date | None = None) -> Screened:
    """Hold the order's current version against patient, substance, site, other orders and other patients."""
    version = current_version(order)
    facts = _screen_input(order, version, occasion=occasion, at=at, print_start=print_start)
    findings = (*screen(facts), *screen_persons(_person(order.patient), persons_like(order.patient)))
    return Screened(order=order.code, version=version.number, findings=findings, record=_looked_at(facts))


def _screen_input(
    order: Order, version: OrderVersion, *, occasion: str, at: datetime, print_start: date | None
) -> ScreenInput:
    today = at.astimezone(order.site.zone).date()
    others = other_versions(version)
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
        other_daily_mg=other_daily_mg(version, others),
        other_orders=tuple(one.order.code for one in others if overlap(one, version)),
        earlier=earlier_order(version),
    )


def _print_start(order: Order, site: Site, occasion: str, today: date) -> date:
    planned = order.ready_by.astimezone(site.zone).date() - timedelta(days=site.values.lead_time_days)
    if occasion == "order":
        return max(today, planned)
    return today if occasion in {"plan", "start"} else min(today, planned)


def _patient_facts(patient: Patient) -> PatientFacts:
    figures = figures_on_file(patient)
    before = weight_before(patient)
    return PatientFacts(
        birth_date=figures.birth_date,
        sex=figures.sex,
        allergies=Allergies(status=figures.allergies.status, entries=_entries(patient)),
        swallowing=figures.swallowing,
        weight_kg=figures.weight.value if figures.weight else None,
        weight_date=figures.weight.measured_on if figures.weight else None,
        earlier_weight_kg=before.value if before else None,
        earlier_weight_date=before.measured_on if before else None,
        height_cm=figures.height.value if figures.height else None,
        feeding_tube=figures.feeding_tube,
        stricture=figures.stricture,
        pregnancy_possible=figures.pregnancy_possible,
    )


def _entries(patient: Patient) -> tuple[AllergyEntry, ...]:
    """Return the allergies with the substance that each names now, also where it was set up after the entry."""
    rows = patient.allergies.select_related("substance").order_by("pk")
    named = names_on_file(patient.site_id)
    return tuple(
        AllergyEntry(text=row.text, substance=row.substance.name if row.substance else named.get(tidy_name(row.text)))
        for row in rows
    )


def _substance_facts(substance: Substance, today: date) -> SubstanceFacts:
    limits = substance.limits.filter(since__lte=today).order_by("pk")
    own = tuple(substance.names.order_by("name").values_list("name", flat=True))
    others = sorted({one for one in names_on_file(substance.site_id).values() if one != substance.name})
    return SubstanceFacts(
        name=substance.name,
        names=own,
        look_alikes=tuple(one for one in others if substances_alike(one, substance.name)),
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
        from_kg=None if row.from_kg is None else plain(row.from_kg),
        to_kg=None if row.to_kg is None else plain(row.to_kg),
    )


def _person(patient: Patient) -> Person:
    return Person(
        code=patient.code,
        family_name=patient.family_name,
        given_name=patient.given_name,
        birth_date=patient.birth_date,
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
        "earlier_order": facts.earlier.order if facts.earlier else None,
        "earlier_weight_kg": patient.earlier_weight_kg,
        "highest_daily_mg": max(facts.all_daily_mg.values()),
        "doses": len(facts.administrations),
    }
