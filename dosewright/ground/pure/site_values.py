"""Numbers that each site may set; the defaults are common practice or judgement and have no source."""

from __future__ import annotations

from dataclasses import dataclass, fields
from decimal import Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteValues:
    """The settings of one site; units are in the names."""

    unit_gap_um: int = 2000
    zone_gap_um: int = 5000
    edge_margin_um: int = 5000
    reject_frac: Decimal = Decimal("0.05")
    enough_good_probability: Decimal = Decimal("0.95")
    lot_free_low_frac: Decimal = Decimal("0.97")
    lot_free_high_frac: Decimal = Decimal("1.03")
    lot_reject_low_frac: Decimal = Decimal("0.95")
    lot_reject_high_frac: Decimal = Decimal("1.05")
    assay_agreement_frac: Decimal = Decimal("0.03")
    weigh_tolerance_drug_frac: Decimal = Decimal("0.01")
    weigh_tolerance_other_frac: Decimal = Decimal("0.02")
    mass_mean_limit_frac: Decimal = Decimal("0.03")
    mass_unit_limit_frac: Decimal = Decimal("0.075")
    mass_unit_small_limit_frac: Decimal = Decimal("0.10")
    mass_small_below_mg: Decimal = Decimal("80")
    content_limit_frac: Decimal = Decimal("0.10")
    deviation_limit_frac: Decimal = Decimal("0.01")
    deviation_narrow_limit_frac: Decimal = Decimal("0.005")
    tank_life_hours: int = 8
    default_shelf_life_days: int = 14
    lead_time_days: int = 2
    plan_ahead_days: int = 7
    """How long before it is due a later supply of a course may be planned."""
    opens_at: str = "07:00"
    closes_at: str = "18:00"
    open_days: str = "12345"
    """Days of the week on which the site is open, 1 is Monday."""
    change_over_minutes: int = 40
    take_off_minutes: int = 15
    weigh_unit_seconds: int = 20
    test_plate_minutes: int = 60
    pack_zone_minutes: int = 10
    bench_places: int = 2
    controlled_on: bool = False
    hazardous_on: bool = False

    @classmethod
    def from_overrides(cls, overrides: dict[str, object]) -> SiteValues:
        """Build from a mapping of names to values; an unknown name raises KeyError."""
        known = {one.name: one.type for one in fields(cls)}
        values: dict[str, object] = {}
        for name, value in overrides.items():
            kind = known[name]
            values[name] = Decimal(str(value)) if kind == "Decimal" else value
        return cls(**values)  # type: ignore[arg-type]
