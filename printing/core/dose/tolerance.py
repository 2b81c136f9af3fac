"""Every check on a sized dose, each with value, limit, unit, verdict and source."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, TypeAlias

from printing.core.dose.limits import (
    AGE_BAND_SOURCE,
    HOLE_SOURCE,
    MINI_SOURCE,
    SITE_SOURCE,
    SIZE_SOURCE,
    Against,
    IntakeLimit,
    SiteLimits,
)
from printing.core.dose.model import LARGEST_LOSS_FRAC
from printing.core.dose.uncertainty import Budget
from printing.core.dose.unit import UnitFigures
from printing.core.quality.probability import uniformity_probability

PASS, REASON, BLOCK = "pass", "reason", "block"
Limit: TypeAlias = float | tuple[float, float] | None

STUDIED_SOURCE = "the formulation's validated range"
AGE_BANDS: tuple[tuple[float, float | None], ...] = ((2.0, None), (6.0, 5.0), (12.0, 10.0), (18.0, 15.0))
"""Largest dimension [mm] by age below [years]; None: no solid unit is foreseen.  EMA draft 2011, quoted in
Arch Dis Child; the final text of 2013 dropped the table, so it advises only."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One check: verdict is pass, reason (a pharmacist states why) or block; limit is a most, least or range."""

    name: str
    value: float | None
    limit: Limit
    unit: str
    verdict: str
    source: str
    note: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Return the check as the `size` command prints it."""
        limit = list(self.limit) if isinstance(self.limit, tuple) else self.limit
        return {
            "name": self.name,
            "value": self.value,
            "limit": limit,
            "unit": self.unit,
            "verdict": self.verdict,
            "source": self.source,
            "note": self.note,
        }


def checks_of(
    unit: UnitFigures, ordered_mg: Fraction, units: int, budget: Budget | None, against: Against
) -> tuple[Check, ...]:
    """Return every check of a dose of `units` equal units of which one is given.

    ordered_mg: the whole dose [mg].  budget: of the mean content of the units, None when the process terms carry
    no uncertainties (which blocks).
    """
    return (
        deviation_check(units * unit.content_mg / float(ordered_mg) - 1.0, against, unit.design.rule),
        mini_units_check(units, against.site) if unit.shape.counted_apart else units_check(units, against),
        *_studied(unit, ordered_mg / units, against),
        *_printable(unit, against),
        *_swallowable(unit, against),
        *_certain(unit, ordered_mg / units, budget, against),
        *(intake_check(unit.mass_mg * units, one, against) for one in against.intakes),
    )


def deviation_check(deviation_frac: float, against: Against, rule: str = "") -> Check:
    """Return the check of the predicted whole dose against the ordered one; steps of one layer are given more room.

    The room of rule fixed_section is not for a substance of narrow index.
    """
    site = against.site
    limit = site.deviation_section_frac if rule == "fixed_section" else site.deviation_frac
    limit = site.deviation_narrow_frac if against.narrow_index else limit
    return _at_most("deviation of the predicted dose", abs(deviation_frac), limit, "fraction", SITE_SOURCE)


def units_check(units: int, against: Against) -> Check:
    """Return the check of units per dose: fewest for children, a reason beyond three, or two at an unknown age."""
    site, age = against.site, against.patient.age_years
    most, free, note = site.most_units, site.most_units_without_reason, ""
    if age is None:
        free, note = min(free, site.most_units_under_12_years), "age not given"
    elif age < 12:
        most = free = site.most_units_under_12_years
    return _graded("units per dose", units, free, most, "units", SITE_SOURCE, note)


def mini_units_check(units: int, site: SiteLimits) -> Check:
    """Return the check of mini-units per dose, which are counted apart from larger units."""
    free, most = site.most_mini_units_without_reason, site.most_mini_units
    return _graded("mini-units per dose", units, free, most, "units", MINI_SOURCE)


def swollen_hole_check(hole_mm: float, tube_mm: float, swelling_frac: float, site: SiteLimits) -> Check:
    """Return the check that swelling leaves a ring its hole: a closed ring has another surface than was studied.

    hole_mm, tube_mm: of the finished ring [mm].  swelling_frac: linear growth in water.
    """
    left = hole_mm - swelling_frac * tube_mm
    return _at_least("hole left when swollen", left, site.least_swollen_hole_mm, "mm", HOLE_SOURCE)


def swollen_check(outline: str, swollen_mm: float, site: SiteLimits) -> Check:
    """Return the check of the largest swollen dimension [mm] of a round or oblong unit."""
    if outline == "round":
        reason, block, source = site.round_reason_mm, site.round_block_mm, SITE_SOURCE
    else:
        reason, block, source = site.oblong_reason_mm, site.oblong_block_mm, SIZE_SOURCE
    return _graded("largest swollen dimension", swollen_mm, reason, block, "mm", source)


def age_band_check(swollen_mm: float, age_years: float, *, mini: bool = False) -> Check | None:
    """Return the advisory check of the largest dimension by age, None for adults; mini: of mini-units."""
    band = next(((below, most) for below, most in AGE_BANDS if age_years < below), None)
    if band is None:
        return None
    most = band[1]
    verdict = PASS if most is not None and swollen_mm <= most else REASON
    none = "only mini-units, with a reason, at this age" if mini else "no solid unit is foreseen at this age"
    note = none if most is None else ""
    return _check("size for age", swollen_mm, most, "mm", verdict, AGE_BAND_SOURCE, note)


def intake_check(mass_mg: float, limit: IntakeLimit, against: Against) -> Check:
    """Return the check of a residue's daily intake, from the mass [mg] of one whole dose."""
    name = f"daily intake of {limit.residue}"
    taken = mass_mg * limit.content_frac * limit.doses_per_day + limit.other_mg_day
    if limit.limit_mg_kg_day is None:
        note = "" if limit.limit_mg_day is not None else "no limit on file"
        verdict = PASS if limit.limit_mg_day is not None and taken <= limit.limit_mg_day else BLOCK
        return _check(name, taken, limit.limit_mg_day, "mg/day", verdict, limit.source, note)
    weight = against.patient.weight_kg
    if weight is None or not weight > 0:
        note = "the limit is per kg of body mass and no weight is known"
        return _check(name, None, limit.limit_mg_kg_day, "mg/kg/day", BLOCK, limit.source, note)
    allowed = min(limit.limit_mg_kg_day, _infinite(limit.limit_mg_day) / weight)
    return _at_most(name, taken / weight, allowed, "mg/kg/day", limit.source)


def studied_dose_check(unit_dose_mg: Fraction, against: Against) -> Check:
    """Return the check of one unit's dose [mg] against what was studied; outside asks a reason in development only."""
    outside, studied = (REASON if against.development else BLOCK), against.validated
    name, value = "validated dose per unit", float(unit_dose_mg)
    if studied is None:
        return _check(name, value, None, "mg", outside, STUDIED_SOURCE, "nothing validated is on file")
    low, high = studied.dose_mg
    verdict = PASS if Fraction(low) <= unit_dose_mg <= Fraction(high) else outside
    return _check(name, value, (float(low), float(high)), "mg", verdict, STUDIED_SOURCE)


def _studied(unit: UnitFigures, unit_dose_mg: Fraction, against: Against) -> Iterator[Check]:
    studied = against.validated
    if studied is None:
        yield studied_dose_check(unit_dose_mg, against)
        return
    outside = REASON if against.development else BLOCK
    yield studied_dose_check(unit_dose_mg, against)
    for name, value in unit.finished_mm.items():
        if name not in studied.size_mm:
            yield _check(f"validated {name}", value, None, "mm", outside, STUDIED_SOURCE, "not studied")
        else:
            yield _between(f"validated {name}", value, studied.size_mm[name], "mm", outside)
    ratio = unit.surface_to_volume_mm
    yield _between("validated surface to volume", ratio, studied.surface_to_volume_mm, "1/mm", outside)


def _printable(unit: UnitFigures, against: Against) -> Iterator[Check]:
    site, lengths = against.site, unit.finished_mm
    whole = min(value for name, value in lengths.items() if name not in unit.shape.features)
    yield _at_least("layers", unit.layers, site.least_layers, "layers", SITE_SOURCE)
    yield _at_least("least dimension", whole, site.least_mm, "mm", SITE_SOURCE)
    spots = site.feature_spots * against.spot_mm
    yield _at_least("smallest feature against the laser spot", min(lengths.values()), spots, "mm", SITE_SOURCE)
    if "hole" in lengths:
        yield swollen_hole_check(lengths["hole"], lengths["tube"], against.swelling_frac, site)
    if unit.shape.counted_apart:
        largest = max(lengths.values())
        yield _at_most("largest dimension of a mini-unit", largest, site.largest_mini_unit_mm, "mm", MINI_SOURCE)
    source = "Crank 1975, short-time solution: valid for small losses"
    yield _at_most("predicted loss to the wash", unit.loss_frac, LARGEST_LOSS_FRAC, "fraction", source)


def _swallowable(unit: UnitFigures, against: Against) -> Iterator[Check]:
    patient = against.patient
    swollen = max(unit.finished_mm.values()) * (1.0 + against.swelling_frac)
    yield swollen_check(unit.outline, swollen, against.site)
    if patient.age_years is not None:
        band = age_band_check(swollen, patient.age_years, mini=unit.shape.counted_apart)
        if band is not None:
            yield band
    if patient.own_size_limit_mm is not None:
        yield _at_most("patient's own size limit", swollen, patient.own_size_limit_mm, "mm", "the patient's record")


def _certain(unit: UnitFigures, unit_dose_mg: Fraction, budget: Budget | None, against: Against) -> Iterator[Check]:
    site = against.site
    most = site.expanded_narrow_frac if against.narrow_index else site.expanded_frac
    spread, chance = "expanded uncertainty of content", "chance of meeting the uniformity test, lower bound"
    bergum = f"{SITE_SOURCE}; USP <905>, bound of the Bergum type at the mean's least favourable end"
    if budget is None:
        note = "the process terms carry no uncertainties"
        yield _check(spread, None, most, "fraction", BLOCK, SITE_SOURCE, note)
        yield _check(chance, None, site.uniformity_lower_bound, "probability", BLOCK, bergum, note)
        return
    yield _at_most(spread, budget.expanded_frac, most, "fraction", f"{SITE_SOURCE}; JCGM 100:2008, 95.45 %")
    value = uniformity_lower_bound(unit.content_mg, float(unit_dose_mg), budget)
    yield _at_least(chance, value, site.uniformity_lower_bound, "probability", bergum)


def uniformity_lower_bound(content_mg: float, unit_dose_mg: float, budget: Budget) -> float:
    """Return the lower bound of the chance of meeting the uniformity test, in % of the unit's label claim.

    The spread is the independent part; the mean is taken at the worse end of its expanded systematic uncertainty.
    """
    mean, sd = 100.0 * content_mg / unit_dose_mg, 100.0 * budget.independent / unit_dose_mg
    shift = 100.0 * budget.coverage_factor * budget.systematic / unit_dose_mg
    ends = (max(mean - shift, math.ulp(1.0)), mean, mean + shift)
    return min(uniformity_probability(end, sd)[1] for end in ends)


def _graded(name: str, value: float, reason: float, block: float, unit: str, source: str, note: str = "") -> Check:
    verdict = PASS if value <= reason else REASON if value <= block else BLOCK
    return _check(name, value, reason if verdict != BLOCK else block, unit, verdict, source, note)


def _at_most(name: str, value: float, limit: float, unit: str, source: str) -> Check:
    return _check(name, value, limit, unit, PASS if value <= limit else BLOCK, source, "at most")


def _at_least(name: str, value: float, limit: float, unit: str, source: str) -> Check:
    return _check(name, value, limit, unit, PASS if value >= limit else BLOCK, source, "at least")


def _between(name: str, value: float, limit: tuple[float, float], unit: str, outside: str) -> Check:
    return _check(name, value, limit, unit, PASS if limit[0] <= value <= limit[1] else outside, STUDIED_SOURCE)


def _check(name: str, value: float | None, limit: Limit, unit: str, verdict: str, source: str, note: str = "") -> Check:
    return Check(name=name, value=value, limit=limit, unit=unit, verdict=verdict, source=source, note=note)


def _infinite(limit: float | None) -> float:
    return math.inf if limit is None else limit
