"""What a resin lot holds: strength from actual weights and assays, its verdict, weighing rules, density."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from dosewright.ground.pure.errors import BadInput, Refusal, refuse_if_any
from dosewright.ground.pure.formulas import formula
from printing.core.dose.uncertainty import Budget, Input, uncertainty_budget
from printing.core.exact import Number, exact, positive
from printing.core.resin.potency import Potency

SITE_SOURCE = "(site) common practice or judgement, no source"
FREE, INVESTIGATE, REJECT = "free", "investigation", "rejected"


@dataclass(frozen=True, slots=True, kw_only=True)
class CompoundingLimits:
    """The site's limits of a resin lot; defaults are common practice or judgement, no source.

    The ranges are percent of the nominal strength; tolerances are fractions of the nominal mass.
    """

    free_percent: tuple[Decimal, Decimal] = (Decimal(97), Decimal(103))
    investigation_percent: tuple[Decimal, Decimal] = (Decimal(95), Decimal(105))
    drug_tolerance_frac: Decimal = Decimal("0.01")
    other_tolerance_frac: Decimal = Decimal("0.02")


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """One line of the weighing sheet in whole micrograms; `potency` is that of a drug, None for anything else."""

    ingredient: str
    nominal_ug: int
    actual_ug: int
    potency: Potency | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ResinStrength:
    """A lot's strength [mg drug moiety per g liquid] with the masses it comes from [ug]."""

    mg_g: Decimal
    drug_ug: Decimal
    total_ug: int


def resin_strength(weighings: Sequence[Weighed]) -> ResinStrength:
    """Return the strength of a lot from its actual weights and the potency of its drug.

    weighings: every ingredient once, masses [ug] > 0, at least one with a potency.
    Raises BadInput otherwise.  Assumes that nothing evaporates while mixing.  Source: mass balance.
    """
    names = [one.ingredient for one in weighings]
    wrong = [one.ingredient for one in weighings if not _whole(one.actual_ug)]
    refusals = [Refusal(field=name, message="has no weight", unit="ug", accepted="more than 0") for name in wrong]
    if len(set(names)) != len(names):
        refusals.append(Refusal(field="weighings", message="an ingredient is weighed on two lines", value=str(names)))
    if all(one.potency is None for one in weighings):
        refusals.append(Refusal(field="weighings", message="no drug was weighed", accepted="at least one drug"))
    refuse_if_any(BadInput, refusals)
    total = sum(one.actual_ug for one in weighings)
    drug = sum((one.actual_ug * one.potency.frac for one in weighings if one.potency is not None), Decimal(0))
    return ResinStrength(mg_g=1000 * drug / total, drug_ug=drug, total_ug=total)


def lot_verdict(percent_of_nominal: Number, limits: CompoundingLimits | None = None) -> str:
    """Return whether a lot's assayed strength is free, needs an investigation, or is rejected.

    percent_of_nominal: [%] > 0; both ranges include their ends.  Size never compensates for a bad lot.
    Source: (site) common practice or judgement.
    """
    used, percent = limits or CompoundingLimits(), positive("percent_of_nominal", percent_of_nominal)
    if used.free_percent[0] <= percent <= used.free_percent[1]:
        return FREE
    return INVESTIGATE if used.investigation_percent[0] <= percent <= used.investigation_percent[1] else REJECT


def weighing_refusals(weighings: Sequence[Weighed], limits: CompoundingLimits | None = None) -> list[Refusal]:
    """Return a refusal for every ingredient whose actual mass is outside its tolerance of the nominal one.

    Drug 1 %, everything else 2 %, ends included.  Source: (site) common practice or judgement.
    """
    used = limits or CompoundingLimits()
    refusals = []
    for one in weighings:
        allowed = used.drug_tolerance_frac if one.potency is not None else used.other_tolerance_frac
        if not _whole(one.nominal_ug) or abs(one.actual_ug - one.nominal_ug) > allowed * one.nominal_ug:
            refusals.append(_outside(one, allowed))
    return refusals


def least_weight_mg(repeatability_sd_mg: Number, readability_mg: Number) -> Decimal:
    """Return the least net weight [mg] that a balance may weigh: 2000 s, with s at least 0.41 d.

    repeatability_sd_mg: standard deviation s of ten weighings [mg] >= 0.  readability_mg: scale interval d [mg] > 0.
    Raises BadInput outside these ranges.
    Source: USP <41> as of 2019: 2 s / m at most 0.10 %; its example s 0.00015 g gives 300 mg (read second-hand).

    >>> str(least_weight_mg("0.15", "0.01").normalize())
    '3E+2'
    """
    spread, interval = (
        exact("repeatability_sd_mg", repeatability_sd_mg),
        positive("readability_mg", readability_mg),
    )
    if spread < 0:
        raise BadInput.because("repeatability_sd_mg", "is negative", value=str(spread), unit="mg", accepted="0 or more")
    return 2000 * max(spread, Decimal("0.41") * interval)


@formula(
    "mixture_density",
    inputs={
        "parts": "list of {mass (any one unit, more than 0), density [g/cm3], more than 0}",
    },
    source="Ideal volume additivity: 1/rho = sum of w_i / rho_i",
)
def mixture_density(parts: Sequence[Mapping[str, float]]) -> float:
    """Return the density [g/cm3] of an ideal mixture; real ones (water with glycols) contract by a percent or two.

    Raises BadInput for no parts, or a mass or density that is not positive.
    """
    if not parts or not all(_positive_number(one["mass"]) and _positive_number(one["density"]) for one in parts):
        raise BadInput.because("parts", "masses and densities are positive numbers", accepted="more than 0")
    return math.fsum(one["mass"] for one in parts) / math.fsum(one["mass"] / one["density"] for one in parts)


def strength_budget(*, drug_mg: Input, other_mg: Input, potency_frac: Input) -> Budget:
    """Return the uncertainty budget of a lot's expected strength [mg/g], 1000 p m / (m + M).

    drug_mg: weighed drug substance m [mg].  other_mg: all else M [mg].  potency_frac: p, mg moiety per mg powder.
    Source: JCGM 100:2008, eq. (10).
    """

    def strength(values: Mapping[str, float]) -> float:
        drug, rest = values[drug_mg.name], values[other_mg.name]
        return 1000.0 * values[potency_frac.name] * drug / (drug + rest)

    return uncertainty_budget(strength, [drug_mg, other_mg, potency_frac])


def _outside(one: Weighed, allowed_frac: Decimal) -> Refusal:
    low, high = (1 - allowed_frac) * one.nominal_ug / 1000, (1 + allowed_frac) * one.nominal_ug / 1000
    return Refusal(
        field=one.ingredient,
        message="is outside its weighing tolerance",
        value=f"{Decimal(one.actual_ug) / 1000:f}",
        limit=f"{100 * allowed_frac:f} %",
        unit="mg",
        accepted=f"{low:f} to {high:f}",
        rule="weighing-tolerance",
    )


def _whole(mass_ug: int) -> bool:
    return isinstance(mass_ug, int) and not isinstance(mass_ug, bool) and mass_ug > 0


def _positive_number(value: float) -> bool:
    return math.isfinite(value) and value > 0
