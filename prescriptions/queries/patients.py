"""Patients as each person may see them: an auditor sees pseudonyms, a technician nothing."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.db.models import Count, Q, QuerySet

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.quantities import plain
from dosewright.ground.pure.roles import Actor, authorise_read
from dosewright.ground.rest import KeysetPage
from dosewright.ground.scope import find, record_read, record_reads
from prescriptions.models import Order, Patient
from prescriptions.queries.orders import TREATING


@dataclass(frozen=True, slots=True, kw_only=True)
class PatientRow:
    """One patient in a list; who it is stays empty for those who see pseudonyms."""

    code: str
    family_name: str = ""
    given_name: str = ""
    birth_date: date | None = None
    sex: str = ""
    orders: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureView:
    """One weight or height; ``corrected_by`` names the measure that replaced it."""

    code: str
    kind: str
    value: Decimal
    unit: str
    measured_on: date
    entered_by: str
    corrects: str = ""
    corrected_by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PatientView:
    """One patient with what screening must know."""

    code: str
    sex: str
    swallowing: str
    largest_unit_mm: Decimal | None
    feeding_tube: str
    stricture: str
    pregnancy_possible: str
    allergies_recorded: str
    allergies: tuple[str, ...]
    measures: tuple[MeasureView, ...]
    orders: tuple[str, ...]
    family_name: str = ""
    given_name: str = ""
    birth_date: date | None = None
    identifiers: tuple[str, ...] = ()
    version: int = 1


def patients_page(
    actor: Actor, *, after: str = "", limit: int = 50, identifier: str = "", at: datetime
) -> KeysetPage[PatientRow]:
    """Return patients of the site after the code `after`: by name for those who treat, else by code.

    Raises NotAllowed, and BadInput for a key that is none.
    """
    authorise_read(actor, "patient")
    named = actor.has(*TREATING)
    rows = Patient.objects.filter(site_id=actor.site_id)
    if identifier and named:
        rows = rows.filter(identifiers__value=identifier)
    rows = _by_name(actor, rows, after) if named else rows.filter(code__gt=after).order_by("code")
    page = list(rows[: limit + 1])
    if named:
        record_reads(actor, patients=[one.code for one in page[:limit]], view="patients", at=at)
    pks = [one.pk for one in page[:limit]]
    counted = Order.objects.filter(patient__in=pks).values_list("patient").annotate(count=Count("pk"))
    orders = dict(counted.order_by())
    items = tuple(_row(patient, named, orders.get(patient.pk, 0)) for patient in page[:limit])
    return KeysetPage(items=items, next_after=page[limit - 1].code if len(page) > limit else "")


def one_patient(actor: Actor, code: str, *, at: datetime) -> PatientView:
    """Return one patient; a look at who it is is recorded. Raises NotAllowed, NotThere."""
    authorise_read(actor, "patient")
    patient = find(actor, Patient, code)
    named = actor.has(*TREATING)
    record_read(actor, patient=code, view="patient" if named else "patient, pseudonym", at=at)
    pairs = patient.identifiers.order_by("pk").values_list("system", "value") if named else ()
    return PatientView(
        code=patient.code,
        sex=patient.sex,
        swallowing=patient.swallowing,
        largest_unit_mm=None if patient.largest_unit_mm is None else plain(patient.largest_unit_mm),
        feeding_tube=patient.feeding_tube,
        stricture=patient.stricture,
        pregnancy_possible=patient.pregnancy_possible,
        allergies_recorded=patient.allergies_recorded,
        allergies=tuple(patient.allergies.order_by("pk").values_list("text", flat=True)),
        measures=_measures(patient),
        orders=tuple(Order.objects.filter(patient=patient).order_by("code").values_list("code", flat=True)),
        family_name=patient.family_name if named else "",
        given_name=patient.given_name if named else "",
        birth_date=patient.birth_date if named else None,
        identifiers=tuple(f"{system} {value}" for system, value in pairs),
        version=patient.version,
    )


def _by_name(actor: Actor, rows: QuerySet[Patient], after: str) -> QuerySet[Patient]:
    ordered = rows.order_by("family_name", "given_name", "code")
    if not after:
        return ordered
    last = Patient.objects.filter(site_id=actor.site_id, code=after).first()
    if last is None:
        raise BadInput.because("after", "is no key of this list", value=after[:60], accepted="next_after")
    same_family = Q(family_name=last.family_name)
    same_name = same_family & Q(given_name=last.given_name)
    return ordered.filter(
        Q(family_name__gt=last.family_name)
        | (same_family & Q(given_name__gt=last.given_name))
        | (same_name & Q(code__gt=last.code))
    )


def _row(patient: Patient, named: bool, orders: int) -> PatientRow:
    if not named:
        return PatientRow(code=patient.code, orders=orders)
    return PatientRow(
        code=patient.code,
        family_name=patient.family_name,
        given_name=patient.given_name,
        birth_date=patient.birth_date,
        sex=patient.sex,
        orders=orders,
    )


def _measures(patient: Patient) -> tuple[MeasureView, ...]:
    rows = list(patient.measures.select_related("entered_by", "corrects").order_by("measured_on", "pk"))
    replaced = {row.corrects.code: row.code for row in rows if row.corrects is not None}
    return tuple(
        MeasureView(
            code=row.code,
            kind=row.kind,
            value=plain(row.value),
            unit=row.unit,
            measured_on=row.measured_on,
            entered_by=row.entered_by.username,
            corrects=row.corrects.code if row.corrects else "",
            corrected_by=replaced.get(row.code, ""),
        )
        for row in rows
    )
