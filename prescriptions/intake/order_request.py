"""An order as it was asked for, whichever door it came through; nothing here is looked up yet."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Final

from prescriptions.regimens import Regimen

SEXES: Final = ("female", "male", "other", "unknown")
SWALLOWING: Final = ("solids", "mini-units only", "no solids", "not assessed")
ALLERGY_STATES: Final = ("none", "listed", "not recorded")
RELEASES: Final = ("immediate", "prolonged")
ROUTES: Final = ("oral",)


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """One weight [kg] or height [cm] with the day it was taken."""

    value: Decimal
    measured_on: date


@dataclass(frozen=True, slots=True, kw_only=True)
class Identifier:
    """A number by which an outside system knows the patient."""

    system: str
    value: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedAllergies:
    """Allergies as written: ``status`` one of `ALLERGY_STATES`, ``entries`` free texts."""

    status: str
    entries: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownPatient:
    """A patient of this site, by the code the site gave."""

    code: str


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedPatient:
    """A patient as the order describes them; None means not recorded, which is not "no"."""

    identifier: Identifier
    family_name: str
    given_name: str
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeat:
    """What a new order repeats: an ``order`` of this site, or the sender's own ``reference``; one of the two.

    ``change`` says what is not the same as before; empty means nothing but the dates.
    """

    order: str = ""
    reference: str = ""
    change: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderRequest:
    """One order: who, what, why, and when which dose.

    ``reference`` is the sender's own number, unique per source; ``prescriber_registration`` names who
    prescribed where that is not who sends; ``ready_by`` is UTC; ``supply_days`` [days, 1 to 366] is how much
    of the course is handed over at a time; ``sender_words`` is what the sender wrote besides.
    """

    reference: str
    patient: KnownPatient | StatedPatient
    substance: str
    release: str
    route: str
    reason: str
    regimen: Regimen
    indication: str | None = None
    legal_basis: str | None = None
    prescriber_registration: str | None = None
    ready_by: datetime | None = None
    supply_days: int | None = None
    repeats: Repeat | None = None
    sender_words: str | None = None
