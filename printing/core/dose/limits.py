"""The limits that a sized dose is held against: the site's, the formulation's, the patient's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

SITE_SOURCE = "(site) common practice or judgement, no source"
SIZE_SOURCE = (
    "(site) design rule on FDA, Size, Shape, and Other Physical Attributes of Generic Tablets and Capsules, 2015 "
    "(17 and 22 mm, read second-hand)"
)
MINI_SOURCE = "(site) common practice, no source: tablets of up to 4 mm are called mini-tablets (from memory)"
HOLE_SOURCE = "(site) judgement, no source: the tube swells about its unmoved centre line, the least favourable case"
AGE_BAND_SOURCE = "EMA draft 2011 size bands (advisory)"


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteLimits:
    """The site's limits; the defaults are common practice or judgement, no source, and settable."""

    deviation_frac: float = 0.01
    deviation_narrow_frac: float = 0.005
    deviation_section_frac: float = 0.02
    round_reason_mm: float = 9.0
    round_block_mm: float = 13.0
    oblong_reason_mm: float = 17.0
    oblong_block_mm: float = 22.0
    least_layers: int = 20
    least_mm: float = 1.0
    feature_spots: float = 3.0
    least_swollen_hole_mm: float = 0.5
    expanded_frac: float = 0.05
    expanded_narrow_frac: float = 0.03
    uniformity_lower_bound: float = 0.95
    most_units: int = 4
    most_units_without_reason: int = 3
    most_units_under_12_years: int = 2
    most_mini_units: int = 20
    most_mini_units_without_reason: int = 10
    largest_mini_unit_mm: float = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ValidatedRange:
    """What a formulation was studied and approved for, of one shape, rule, orientation and mount.

    ``dose_mg`` is per unit; ``size_mm`` has least and largest finished lengths by name; surface per volume is
    that of the drawn unit [1/mm].
    """

    shape: str
    rule: str
    orientation: str
    mount: str
    layer_um: tuple[int, ...]
    dose_mg: tuple[Decimal, Decimal]
    size_mm: Mapping[str, tuple[float, float]]
    surface_to_volume_mm: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Patient:
    """What sizing needs of the patient; None is not known, and is never taken for a value."""

    age_years: float | None = None
    weight_kg: float | None = None
    own_size_limit_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class IntakeLimit:
    """A residue's share of the finished mass and what may be taken of it in a day, per kg of body mass or in all.

    ``other_mg_day`` is what the patient's other doses of the day bring.
    """

    residue: str
    content_frac: float
    doses_per_day: float
    source: str
    limit_mg_day: float | None = None
    limit_mg_kg_day: float | None = None
    other_mg_day: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Against:
    """Everything a sized dose is checked against."""

    site: SiteLimits = field(default_factory=SiteLimits)
    validated: ValidatedRange | None = None
    patient: Patient = field(default_factory=Patient)
    intakes: tuple[IntakeLimit, ...] = ()
    spot_mm: float
    swelling_frac: float
    """Linear growth of the unit in water."""
    narrow_index: bool = False
    development: bool = False
    """A development plate, never for a patient: what was not studied needs a reason instead of a stop."""
