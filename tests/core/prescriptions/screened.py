"""One order that raises no alert, for the tests of screening: each changes what it is about. All of it is invented."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from dosewright.ground.pure.quantities import Basis
from prescriptions.calendar import Administration, administrations
from prescriptions.dose_limits import Limit, Per
from prescriptions.findings import Finding
from prescriptions.regimens import Regimen, ordered_doses
from prescriptions.screen_facts import (
    Allergies,
    PatientFacts,
    ScreenInput,
    SubstanceFacts,
)
from tests.core.prescriptions.builders import START, regimen, step, unequal_day
from tests.core.vectors import load

VECTORS = load("screening")
TODAY = START - timedelta(days=5)
INVENTED = "invented for the demo"
LIMITS = (
    Limit(per=Per.DOSE, low=Decimal("0.5"), high=Decimal(10), source=INVENTED),
    Limit(per=Per.DAY, low=Decimal(2), high=Decimal(20), source=INVENTED),
)
PATIENT = PatientFacts(
    birth_date=date(2017, 5, 4),
    sex="female",
    allergies=Allergies(status="none"),
    swallowing="solids",
    weight_kg=Decimal("26.2"),
    weight_date=START - timedelta(days=10),
    height_cm=Decimal(131),
    feeding_tube=False,
    stricture=False,
)
SUBSTANCE = SubstanceFacts(name="hydrocortisone", names=("cortisol",), limits=LIMITS)


def given_doses(value: Regimen) -> tuple[Administration, ...]:
    """Return the administrations of a regimen."""
    return administrations(value, ordered_doses(value))


def facts(
    *, patient: dict[str, Any] | None = None, substance: dict[str, Any] | None = None, **more: Any
) -> ScreenInput:
    """Return an order that raises no alert, with the named facts changed."""
    usual = ScreenInput(
        patient=replace(PATIENT, **(patient or {})),
        substance=replace(SUBSTANCE, **(substance or {})),
        administrations=given_doses(unequal_day()),
        basis=frozenset({Basis.ABSOLUTE}),
        release_ordered="immediate",
        today=TODAY,
        print_start_date=START - timedelta(days=2),
    )
    return replace(usual, **more)


def doses_of(dose: str, *times: str, **more: Any) -> tuple[Administration, ...]:
    """Return the administrations of one step of a dose."""
    return given_doses(regimen(step(dose, *(times or ("07:00",)), **more)))


def only(found: tuple[Finding, ...]) -> Finding:
    """Return the one finding; fails on none or more."""
    assert len(found) == 1, [(one.rule, one.message) for one in found]
    return found[0]


def born(months: int) -> date:
    """Return a birth date that makes `months` completed months on START."""
    years, left = divmod(START.month - 1 - months, 12)
    return date(START.year + years, left + 1, START.day)
