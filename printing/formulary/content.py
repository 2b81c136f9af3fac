"""What a formulation says, as frozen facts: the same classes for a draft that comes in and a record that is read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

DRUG = "drug"
ASSAYED_UNITS = "assayed units"
STABILITY = "stability"


@dataclass(frozen=True, slots=True, kw_only=True)
class IngredientFacts:
    """One substance that is weighed, in the form in which it is bought; molar masses for a drug.

    A ``premix`` is mixed here from the drug and a diluent, so that a balance can weigh the little that a resin
    needs; its parts add up to 1, one of them is the drug, and it may be used ``premix_life_days`` long.
    """

    name: str
    grade: str
    role: str
    form: str
    density_g_cm3: Decimal
    density_temperature_c: Decimal
    source: str
    molar_mass_g_mol: Decimal | None = None
    moiety_molar_mass_g_mol: Decimal | None = None
    moieties_per_formula: int = 1
    crystal_waters: int = 0
    hazards: tuple[str, ...] = ()
    premix: tuple[RecipeLine, ...] = ()
    premix_life_days: int | None = None
    code: str = ""

    @property
    def drug_part(self) -> IngredientFacts | None:
        """The drug of a premix, None for anything that is no premix."""
        return next((line.ingredient for line in self.premix if line.ingredient.role == DRUG), None)

    @property
    def drug_frac(self) -> Decimal:
        """The share of the drug's form that this nominally holds: 1 for a drug substance, less for a premix."""
        drugs = [line.mass_frac for line in self.premix if line.ingredient.role == DRUG]
        return drugs[0] if len(drugs) == 1 else Decimal(1)


@dataclass(frozen=True, slots=True, kw_only=True)
class RecipeLine:
    """One ingredient in its place in the order of addition, by mass fraction of the resin."""

    number: int
    mass_frac: Decimal
    ingredient: IngredientFacts


@dataclass(frozen=True, slots=True, kw_only=True)
class StudyFacts:
    """One study; ``key`` is how the other parts of one draft name it."""

    key: str
    kind: str
    title: str
    result: Mapping[str, Any]
    code: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TermsFacts:
    """Process terms of one orientation on one mount; no transfer factor means that none was measured."""

    orientation: str
    mount: str
    transfer_factor: Decimal | None
    u_transfer_factor: Decimal | None
    density_mg_mm3: Decimal
    u_density_mg_mm3: Decimal
    bleed_mm: Decimal
    u_bleed_mm: Decimal
    overcure_mm: Decimal
    u_overcure_mm: Decimal
    leached_mm: Decimal
    u_leached_mm: Decimal
    bound_frac: Decimal
    u_bound_frac: Decimal
    degrees_of_freedom: int
    outline_scatter_mm: Decimal
    height_scatter_mm: Decimal
    strength_scatter_frac: Decimal
    swelling_frac: Decimal
    study: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeFacts:
    """One validated range; doses are per unit, ``size_mm`` holds finished lengths by name.

    What a rule keeps: ``aspect_frac`` goes with uniform, ``fixed_height_mm`` (printed height), ``fixed_section_mm``
    (diameter) and ``fixed_tube_mm`` with the rule of their name; ``cap_radius_frac`` (per diameter) with biconvex.
    """

    number: int
    shape: str
    rule: str
    orientation: str
    mount: str
    dose_min_mg: Decimal
    dose_max_mg: Decimal
    layer_um: tuple[int, ...]
    aspect_frac: Decimal | None
    fixed_height_mm: Decimal | None
    size_mm: Mapping[str, tuple[Decimal, Decimal]]
    surface_to_volume_mm: tuple[Decimal, Decimal]
    is_default: bool
    study: str
    fixed_section_mm: Decimal | None = None
    fixed_tube_mm: Decimal | None = None
    cap_radius_frac: Decimal | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishFacts:
    """One finishing step with the range [s] that its time must keep."""

    number: int
    kind: str
    least_s: int
    most_s: int
    conditions: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfileFacts:
    """One pinned print profile with the coefficients of its time model."""

    printer_kind: str
    name: str
    profile_version: str
    sha256: str
    layer_um: int
    spot_um: int
    compensation: Mapping[str, Any]
    setup_s: Decimal
    layer_s: Decimal
    hatch_um: int
    scan_mm_s: Decimal
    contour_mm_s: Decimal
    contours: int
    code: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TestZone:
    """Patient-less units of each plate: of the smallest or largest dose, and where they stand."""

    __test__ = False

    which: str
    where: str
    units: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LotTestRule:
    """One test of a resin lot before use: places, and accepted words or limits [unit]."""

    kind: str
    places: tuple[str, ...] = ("",)
    accepted: tuple[str, ...] = ()
    unit: str = ""
    low: Decimal | None = None
    high: Decimal | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TestPlan:
    """What is tested: units of every plate, and the resin lot before use."""

    __test__ = False

    zones: tuple[TestZone, ...] = ()
    before_use: tuple[LotTestRule, ...] = ()
    homogeneity_frac: Decimal | None = None
    """Largest difference between the places of one assay, of their mean."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ResidueFacts:
    """What stays in a finished unit, as a fraction of its mass, and what may be taken in."""

    residue: str
    content_frac: Decimal
    source: str
    study: str
    limit_mg_day: Decimal | None = None
    limit_mg_kg_day: Decimal | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FormulationSpec:
    """A formulation as it is drafted."""

    name: str
    is_invented: bool
    substance: str
    release: str
    form_name: str
    form_name_plural: str
    nominal_strength_mg_g: Decimal
    u_nominal_strength_frac: Decimal
    resin_density_g_cm3: Decimal
    lot_life_days: int
    tank_life_hours: int | None
    shelf_life_days: int | None
    storage: str
    container: str
    warnings: tuple[str, ...]
    recipe: tuple[RecipeLine, ...]
    studies: tuple[StudyFacts, ...] = ()
    terms: tuple[TermsFacts, ...] = ()
    ranges: tuple[RangeFacts, ...] = ()
    finishing: tuple[FinishFacts, ...] = ()
    profiles: tuple[ProfileFacts, ...] = ()
    test_plan: TestPlan = field(default_factory=TestPlan)
    residues: tuple[ResidueFacts, ...] = ()

    @property
    def drug(self) -> RecipeLine:
        """The recipe's drug."""
        return next(line for line in self.recipe if line.ingredient.role == DRUG)

    @property
    def excipients(self) -> tuple[str, ...]:
        """The names of everything that is no drug, within premixes too, each once."""
        parts = [part for line in self.recipe for part in (line.ingredient.premix or (line,))]
        return tuple(dict.fromkeys(one.ingredient.name for one in parts if one.ingredient.role != DRUG))

    @property
    def default_range(self) -> RangeFacts | None:
        """The range that patients get unless another is asked for."""
        return next((one for one in self.ranges if one.is_default), None)

    def terms_for(self, orientation: str, mount: str) -> TermsFacts | None:
        """Return the process terms of one way of printing, None when no coupons were assayed so."""
        return next((t for t in self.terms if (t.orientation, t.mount) == (orientation, mount)), None)

    def profile_for(self, layer_um: int, printer_kind: str | None = None) -> ProfileFacts | None:
        """Return the pinned profile of a layer height (and printer kind), None when there is none."""
        fitting = (p for p in self.profiles if p.layer_um == layer_um and printer_kind in (None, p.printer_kind))
        return next(fitting, None)


@dataclass(frozen=True, slots=True, kw_only=True)
class FormulationFacts(FormulationSpec):
    """A formulation version as it stands in the record, with what sizing needs of its substance."""

    code: str
    number: int
    state: str
    version: int
    narrow_index: bool
    orderable_step_mg: Decimal
    controlled: bool
    hazardous: bool
