"""A resin lot's strength from its weighings and the assay of its drug, by the core's arithmetic. PURE."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.site_values import SiteValues
from printing.core.dose.uncertainty import Input
from printing.core.resin.compounding import (
    CompoundingLimits,
    Weighed,
    least_weight_mg,
    lot_verdict,
    resin_strength,
    strength_budget,
)
from printing.core.resin.potency import Assay, AssayBasis, DrugForm, ExpressedAs, Potency, potency_of
from printing.stock.content import ChainStep, StrengthFacts

PLACES = Decimal("0.000000001")
"""Strengths are stated to a thousandth of a microgram per gram, far below any balance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CertifiedAssay:
    """The assay of a drug lot as its certificate states it, as fractions."""

    frac: Decimal
    u_frac: Decimal
    basis: str
    expressed_as: str
    water_frac: Decimal | None
    loss_on_drying_frac: Decimal | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AssayedDrug:
    """What a drug lot holds: its certificate's assay, and the share of moiety as weighed that follows."""

    assay: CertifiedAssay
    potency: Potency


@dataclass(frozen=True, slots=True, kw_only=True)
class WeighedIn:
    """One actual weight [ug] with the balance's interval and repeatability [ug]; `drug` is None for anything else."""

    ingredient: str
    nominal_ug: int
    actual_ug: int
    resolution_ug: int
    repeatability_ug: int
    drug: AssayedDrug | None = None

    @property
    def u_ug(self) -> float:
        """Standard uncertainty of a net weight: repeatability, and the interval read twice (JCGM 100:2008, 4.3.7)."""
        return math.hypot(self.repeatability_ug, self.resolution_ug / math.sqrt(6.0))


def potency_as_weighed(assay: CertifiedAssay, form: DrugForm, *, nominal_frac: Decimal = Decimal(1)) -> Potency:
    """Return the share of moiety in what is weighed, a powder or a premix of a nominal share of it.

    Raises BadInput where a correction would be made twice.
    """
    water, lost = assay.water_frac, assay.loss_on_drying_frac
    return potency_of(
        Assay(
            percent=_tidy(100 * assay.frac),
            basis=AssayBasis(assay.basis),
            expressed_as=ExpressedAs(assay.expressed_as),
            water_percent=None if water is None else _tidy(100 * water),
            loss_on_drying_percent=None if lost is None else _tidy(100 * lost),
            nominal_frac=nominal_frac,
        ),
        form,
    )


def _tidy(value: Decimal) -> Decimal:
    """The chain is printed: no trailing zeros and no exponent."""
    return Decimal(decimal_text(value))


def strength_of(weighings: Sequence[WeighedIn], nominal_mg_g: Decimal, site: SiteValues) -> StrengthFacts:
    """Return the strength [mg/g] of everything that was weighed, with its uncertainty, verdict and chain.

    Raises BadInput without exactly one drug. Source: mass balance; JCGM 100:2008.
    """
    drugs = [(one, one.drug) for one in weighings if one.drug is not None]
    if len(drugs) != 1:
        raise BadInput.because("weighings", "one drug is weighed in", value=str(len(drugs)), accepted="1")
    powder, drug = drugs[0]
    found = resin_strength([weighed(one) for one in weighings])
    fraction = found.mg_g / nominal_mg_g
    return StrengthFacts(
        mg_g=found.mg_g.quantize(PLACES),
        u_mg_g=Decimal(repr(_uncertainty(powder, drug, weighings))).quantize(PLACES),
        drug_mg=(found.drug_ug / 1000).quantize(PLACES),
        total_g=Decimal(found.total_ug) / 1_000_000,
        fraction_of_nominal=fraction.quantize(PLACES),
        verdict=lot_verdict(100 * fraction, limits_of(site)),
        potency_frac=drug.potency.frac,
        chain=tuple(
            ChainStep(what=step.what, factor=step.factor, running_frac=step.running_frac) for step in drug.potency.steps
        ),
    )


def weighed(one: WeighedIn) -> Weighed:
    """Return a weighing as the core takes it."""
    return Weighed(
        ingredient=one.ingredient,
        nominal_ug=one.nominal_ug,
        actual_ug=one.actual_ug,
        potency=one.drug.potency if one.drug else None,
    )


def limits_of(site: SiteValues) -> CompoundingLimits:
    """Return the core's limits with the site's own numbers."""
    return CompoundingLimits(
        free_percent=(100 * site.lot_free_low_frac, 100 * site.lot_free_high_frac),
        investigation_percent=(100 * site.lot_reject_low_frac, 100 * site.lot_reject_high_frac),
        drug_tolerance_frac=site.weigh_tolerance_drug_frac,
        other_tolerance_frac=site.weigh_tolerance_other_frac,
    )


def target_ug(mass_frac: Decimal, lot_target_ug: int) -> int:
    """Return what is to be weighed of one ingredient [ug], to the nearest microgram."""
    return int((mass_frac * lot_target_ug).to_integral_value())


def least_weight_of(resolution_ug: int, repeatability_ug: int) -> Decimal:
    """Return the least net weight [mg] of a balance with this interval and repeatability [ug]."""
    return least_weight_mg(Decimal(repeatability_ug) / 1000, Decimal(resolution_ug) / 1000)


def _uncertainty(powder: WeighedIn, drug: AssayedDrug, weighings: Sequence[WeighedIn]) -> float:
    others = [one for one in weighings if one is not powder]
    potency = float(drug.potency.frac)
    return strength_budget(
        drug_mg=Input(name="drug", value=powder.actual_ug / 1000, standard_uncertainty=powder.u_ug / 1000, unit="mg"),
        other_mg=Input(
            name="others",
            value=sum(one.actual_ug for one in others) / 1000,
            standard_uncertainty=math.hypot(*(one.u_ug for one in others)) / 1000,
            unit="mg",
        ),
        potency_frac=Input(
            name="potency",
            value=potency,
            standard_uncertainty=potency * float(drug.assay.u_frac / drug.assay.frac),
            unit="mg/mg",
        ),
    ).combined
