"""The facts that screening looks at: patient, substance, site and the order's administrations."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from dosewright.ground.pure.quantities import Basis
from prescriptions.body_weight import Age, age_on
from prescriptions.calendar import Administration, daily_totals_mg, summed_mg
from prescriptions.dose_limits import Limit, Severities


@dataclass(frozen=True, slots=True, kw_only=True)
class AllergyEntry:
    """One stated allergy: free ``text``, and the ``substance`` it was matched to, if any."""

    text: str
    substance: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Allergies:
    """Allergies as stated: ``status`` "none", "listed" or "not recorded" are three different things."""

    status: str
    entries: tuple[AllergyEntry, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class PatientFacts:
    """What is known of the patient; None means not recorded.

    ``swallowing`` is "solids", "mini-units only", "no solids" or "not assessed"; ``weight_kg`` [kg] was
    measured on ``weight_date``, and ``earlier_weight_kg`` is the weight on file before it; ``height_cm`` [cm].
    """

    birth_date: date
    sex: str
    allergies: Allergies
    swallowing: str
    weight_kg: Decimal | None = None
    weight_date: date | None = None
    earlier_weight_kg: Decimal | None = None
    earlier_weight_date: date | None = None
    height_cm: Decimal | None = None
    feeding_tube: bool | None = None
    stricture: bool | None = None
    pregnancy_possible: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SubstanceFacts:
    """What is known of the substance.

    ``names`` are all names that an allergy could be written under, ``look_alikes`` the site's other substances whose
    names are taken for this one.
    """

    name: str
    names: tuple[str, ...] = ()
    look_alikes: tuple[str, ...] = ()
    weekly_only: bool = False
    controlled: bool = False
    hazardous: bool = False
    narrow_index: bool = False
    limits: tuple[Limit, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteRules:
    """The switches and settings of the site that screening reads."""

    controlled_on: bool = False
    hazardous_on: bool = False
    severities: Severities = field(default_factory=Severities)


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierOrder:
    """The patient's order of the moiety before this one: its code and its highest daily dose [mg as ordered now]."""

    order: str
    highest_daily_mg: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class ScreenInput:
    """One order version and all that it is screened against.

    ``administrations`` are the order's own, as many of those as needed as there may be; ``other_daily_mg`` [mg by
    date, as this order expresses doses] the totals of all other active orders of the moiety and ``other_orders`` their
    codes; ``earlier`` the order before it. ``today`` and ``print_start_date`` are the caller's.
    """

    patient: PatientFacts
    substance: SubstanceFacts
    administrations: tuple[Administration, ...]
    basis: frozenset[Basis]
    release_ordered: str
    today: date
    print_start_date: date
    site: SiteRules = field(default_factory=SiteRules)
    route: str = "oral"
    other_daily_mg: Mapping[date, Decimal] = field(default_factory=dict)
    other_orders: tuple[str, ...] = ()
    earlier: EarlierOrder | None = None

    @property
    def start_date(self) -> date:
        """The day of the first dose."""
        return min(one.on_date for one in self.administrations)

    @property
    def age_at_start(self) -> Age:
        """The age on the day of the first dose (at birth, where the order starts before it)."""
        return age_on(self.patient.birth_date, max(self.start_date, self.patient.birth_date))

    @property
    def all_daily_mg(self) -> dict[date, Decimal]:
        """The daily totals [mg] of this and all other active orders of the moiety."""
        return summed_mg(self.own_daily_mg, self.other_daily_mg)

    @property
    def own_daily_mg(self) -> dict[date, Decimal]:
        """The daily totals [mg] of this order alone."""
        return daily_totals_mg(self.administrations)

    @property
    def most_doses_a_day(self) -> int:
        """The most doses of this order that fall on one day."""
        return max(Counter(one.on_date for one in self.administrations).values())
