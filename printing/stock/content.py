"""What the stock says, as frozen facts for other services and for people; masses in mg and g, never as floats."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal

from dosewright.ground.pure.errors import Refusal

SHELF, VESSEL, STORE, WASTE = "shelf", "vessel", "store", "waste"
"""Accounts: of an ingredient lot (shelf, waste) and of a resin lot (vessel while weighing, store once mixed, the code
of each tank fill, waste)."""


PREMIX_PLACES = ("top", "middle", "bottom")
"""Where a premix is assayed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainStep:
    """One step from the certificate's assay to the share of moiety in the powder as weighed."""

    what: str
    factor: Decimal
    running_frac: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class StrengthFacts:
    """A lot's strength [mg moiety per g] from actual weights and assay, with its standard uncertainty."""

    mg_g: Decimal
    u_mg_g: Decimal
    drug_mg: Decimal
    total_g: Decimal
    fraction_of_nominal: Decimal
    verdict: str
    potency_frac: Decimal
    chain: tuple[ChainStep, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetLine:
    """One line of the weighing sheet: what is to be weighed, and once done what was, by whom and on what."""

    number: int
    ingredient: str
    ingredient_name: str
    role: str
    target_mg: Decimal
    low_mg: Decimal
    high_mg: Decimal
    ingredient_lot: str = ""
    actual_mg: Decimal | None = None
    balance: str = ""
    weighed_by: str = ""
    weighed_at: datetime | None = None
    reason: str = ""
    checked_by: str = ""
    checked_at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class IngredientLotFacts:
    """One lot, delivered or a premix made here: then with its weighing sheet and what the weights say it holds."""

    code: str
    state: str
    version: int
    ingredient: str
    ingredient_name: str
    role: str
    supplier_lot: str
    received_at: datetime
    received_by: str
    expires_on: date
    assay_frac: Decimal | None
    u_assay_frac: Decimal | None
    assay_basis: str
    assay_expressed_as: str
    water_frac: Decimal | None
    loss_on_drying_frac: Decimal | None
    certificate_reference: str
    on_shelf_g: Decimal
    blockers: tuple[Refusal, ...]
    mixed_at: datetime | None = None
    sheet: tuple[SheetLine, ...] = ()
    weighed_moiety_frac: Decimal | None = None
    assayed_frac: Mapping[str, Decimal] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class LotTestFacts:
    """One result of a test before use with its limits, and whether it keeps them."""

    kind: str
    place: str
    value: str
    unit: str
    low: Decimal | None
    high: Decimal | None
    accepted: str
    passed: bool
    tested_by: str
    tested_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class AssayFacts:
    """The mean of a lot's assay, how far its places lie apart, and how it agrees with the weighed strength."""

    mean_mg_g: Decimal
    fraction_of_nominal: Decimal
    verdict: str
    spread_frac: Decimal
    spread_limit_frac: Decimal
    difference_frac: Decimal
    agreement_limit_frac: Decimal

    @property
    def is_even(self) -> bool:
        """Whether the places agree among each other."""
        return self.spread_frac <= self.spread_limit_frac

    @property
    def agrees(self) -> bool:
        """Whether the assay agrees with the strength by weighing."""
        return abs(self.difference_frac) <= self.agreement_limit_frac


@dataclass(frozen=True, slots=True, kw_only=True)
class ResinLotRecord:
    """One lot of resin as people see and sign it; strength, verdicts, expiry and blockers are worked out each time."""

    code: str
    state: str
    version: int
    formulation: str
    formulation_number: int
    formulation_name: str
    is_invented: bool
    nominal_strength_mg_g: Decimal
    density_g_cm3: Decimal
    target_g: Decimal
    started_at: datetime
    started_by: str
    mixed_at: datetime | None
    mixed_by: str
    expires_on: date | None
    sheet: tuple[SheetLine, ...]
    strength: StrengthFacts | None
    tests: tuple[LotTestFacts, ...]
    tests_missing: tuple[str, ...]
    assay: AssayFacts | None
    blockers: tuple[Refusal, ...]
    accounts_g: Mapping[str, Decimal]

    @property
    def ingredient_lots(self) -> tuple[str, ...]:
        """The lots that were weighed in."""
        return tuple(line.ingredient_lot for line in self.sheet if line.ingredient_lot)


@dataclass(frozen=True, slots=True, kw_only=True)
class ResinLotFacts:
    """What other services need of one lot of resin; never shown, for it holds internal ids.

    Strength is None until everything is weighed; ``available_ul`` is what stands in store.
    """

    pk: int
    code: str
    site_id: int
    state: str
    formulation_id: int
    formulation: str
    formulation_number: int
    strength_mg_g: Decimal | None
    u_strength_mg_g: Decimal | None
    fraction_of_nominal: Decimal | None
    verdict: str
    expires_on: date | None
    density_g_cm3: Decimal
    available_ul: int
    ingredient_lots: tuple[str, ...]
    blockers: tuple[Refusal, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LotPeople:
    """User ids of those who took part in a resin lot."""

    makers: frozenset[int]
    testers: frozenset[int]

    @property
    def everyone(self) -> frozenset[int]:
        """Makers and testers."""
        return self.makers | self.testers


@dataclass(frozen=True, slots=True, kw_only=True)
class EquipmentFacts:
    """One piece of equipment: what it is dedicated to, when it is due, what stands against using it now."""

    code: str
    version: int
    kind: str
    name: str
    formulation: str
    due_on: date | None
    last_check: str
    last_cleaned_at: datetime | None
    resolution_mg: Decimal | None
    repeatability_mg: Decimal | None
    least_weight_mg: Decimal | None
    capacity_ml: Decimal | None
    tank_fill: str
    blockers: tuple[Refusal, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TankFillFacts:
    """What is in a tank since when, and until when it may be printed with."""

    code: str
    version: int
    tank_name: str
    tank: str
    resin_lot: str
    formulation: str
    filled_at: datetime
    filled_by: str
    good_until: datetime
    emptied_at: datetime | None
    volume_ml: Decimal
    left_ml: Decimal
    blockers: tuple[Refusal, ...]
