"""From a formulation's facts to a sized dose: the one bridge between the record and the arithmetic of the core."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from dosewright.ground.pure.errors import BadInput, Blocked, Refusal, Refused
from dosewright.ground.pure.site_values import SiteValues
from printing.core.dose.limits import Against, IntakeLimit, Patient, SiteLimits, ValidatedRange
from printing.core.dose.model import LARGEST_LOSS_FRAC, Terms, TermUncertainty, unit_strength_frac
from printing.core.dose.shapes import Design
from printing.core.dose.sizing import SizedDose, SizeRequest, size_dose
from printing.formulary.content import FormulationFacts, RangeFacts, ResidueFacts, TermsFacts
from printing.formulary.contracts import FITTED, KEPT, refused_contract, size_contract

DAYS_PER_YEAR = 365.25


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """How a dose is asked to be printed; what is left out comes from the formulation's default range."""

    shape: str | None = None
    rule: str | None = None
    orientation: str | None = None
    mount: str | None = None
    layer_um: int | None = None

    @property
    def asked(self) -> dict[str, str]:
        """What was asked for, by name."""
        names = ("shape", "rule", "orientation", "mount")
        return {name: getattr(self, name) for name in names if getattr(self, name) is not None}


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """What sizing needs of the patient and the order; None is not known and never taken for a value.

    ``daily_dose_mg`` is everything of the substance on one day, this dose included.
    """

    age_days: int | None = None
    weight_kg: Decimal | None = None
    own_size_limit_mm: Decimal | None = None
    doses_per_day: Decimal
    daily_dose_mg: Decimal


DEFAULT_WAY = Way()


def size_order_dose(
    facts: FormulationFacts,
    *,
    dose_mg: Decimal,
    unit_strength: Decimal | None = None,
    resin_strength_mg_g: Decimal | None = None,
    u_resin_strength_mg_g: Decimal | None = None,
    way: Way = DEFAULT_WAY,
    fit: Fit | None = None,
    site: SiteValues | None = None,
    units_per_dose: int | None = None,
) -> SizedDose:
    """Return the dose as equal units of a validated formulation, checked against formulation, site and patient.

    Strength: of a lot (``resin_strength_mg_g`` with its standard uncertainty) at planning, else the nominal one;
    ``unit_strength`` [mg per mg of finished unit] overrides both. Without `fit` (nobody's dose) limits per kg of
    body mass are not checked; `not_checked` names them. Raises Blocked for a formulation that is not validated,
    BadInput for a way of printing that is not, DoseNotPossible with the nearest doses.
    """
    refuse_not_validated(facts)
    chosen = choose_range(facts, way)
    terms_facts = terms_of_way(facts, chosen.orientation, chosen.mount)
    design = design_of(chosen, way)
    profile = facts.profile_for(design.layer_um)
    if profile is None:
        raise Blocked.because("layer_um", "no print profile is pinned", value=str(design.layer_um), unit="um")
    strength, u_strength = _unit_strength(facts, terms_facts, unit_strength, resin_strength_mg_g, u_resin_strength_mg_g)
    against = Against(
        site=site_limits(site),
        validated=validated_range(chosen),
        patient=_patient(fit),
        intakes=_intakes(facts, dose_mg, fit, strength * (1 - terms_facts.bound_frac)),
        spot_mm=profile.spot_um / 1000,
        swelling_frac=float(terms_facts.swelling_frac),
        narrow_index=facts.narrow_index,
    )
    return size_dose(
        SizeRequest(
            dose_mg=dose_mg,
            design=design,
            terms=terms_of(terms_facts, strength, u_strength),
            against=against,
            units_per_dose=units_per_dose,
            orderable_step_mg=facts.orderable_step_mg or None,
        )
    )


def refuse_not_validated(facts: FormulationFacts) -> None:
    """Raise Blocked unless the formulation version is validated."""
    if facts.state != "validated":
        raise Blocked(not_validated(facts))


def not_validated(facts: FormulationFacts) -> Refusal:
    """Return the refusal of a formulation version that is not validated."""
    return Refusal(
        field="formulation",
        value=f"{facts.code} number {facts.number}: {facts.state}",
        message="is not validated",
        accepted="a validated formulation",
        rule="not validated",
    )


def choose_range(facts: FormulationFacts, way: Way) -> RangeFacts:
    """Return the validated range that `way` asks for, the default one before others; raises BadInput, Blocked."""
    if way.orientation is not None or way.mount is not None:
        default = facts.default_range
        terms_of_way(
            facts,
            way.orientation or (default.orientation if default else ""),
            way.mount or (default.mount if default else ""),
        )
    ordered = sorted(facts.ranges, key=lambda one: (not one.is_default, one.number))
    for one in ordered:
        fits = all(getattr(one, name) == value for name, value in way.asked.items())
        if fits and (way.layer_um is None or way.layer_um in one.layer_um) and (one.is_default or way != DEFAULT_WAY):
            return one
    raise _no_range(facts, way)


def terms_of_way(facts: FormulationFacts, orientation: str, mount: str) -> TermsFacts:
    """Return the process terms of one way of printing; raises BadInput where no coupons were assayed."""
    found = facts.terms_for(orientation, mount)
    if found is not None:
        return found
    known = [f"{one.orientation} on {one.mount}" for one in facts.terms]
    wrong = "mount" if any(one.orientation == orientation for one in facts.terms) else "orientation"
    raise BadInput(
        Refusal(
            field=wrong,
            value=f"{orientation} on {mount}",
            rule="other process terms",
            message="process terms belong to one orientation and mount, and no coupons were printed and assayed so",
            accepted=" or ".join(known) or "none: nothing was assayed",
        )
    )


def design_of(chosen: RangeFacts, way: Way = DEFAULT_WAY) -> Design:
    """Return the core's design of a range, at the layer height asked for or its first one."""
    return Design(
        shape=chosen.shape,
        rule=chosen.rule,
        orientation=chosen.orientation,
        mount=chosen.mount,
        layer_um=chosen.layer_um[0] if way.layer_um is None else way.layer_um,
        **{name: _float(getattr(chosen, name)) for name in KEPT},
    )


def _float(value: Decimal | None) -> float | None:
    return None if value is None else float(value)


def validated_range(chosen: RangeFacts) -> ValidatedRange:
    """Return the core's validated range."""
    low, high = chosen.surface_to_volume_mm
    return ValidatedRange(
        shape=chosen.shape,
        rule=chosen.rule,
        orientation=chosen.orientation,
        mount=chosen.mount,
        layer_um=chosen.layer_um,
        dose_mg=(chosen.dose_min_mg, chosen.dose_max_mg),
        size_mm={name: (float(least), float(most)) for name, (least, most) in chosen.size_mm.items()},
        surface_to_volume_mm=(float(low), float(high)),
    )


def terms_of(facts: TermsFacts, strength: Decimal, u_strength: Decimal) -> Terms:
    """Return the core's process terms at a unit strength [mg/mg] with its standard uncertainty."""
    fitted = {name: float(facts.degrees_of_freedom) for name in FITTED[1:]}
    return Terms(
        unit_strength_frac=float(strength),
        density_mg_mm3=float(facts.density_mg_mm3),
        bleed_mm=float(facts.bleed_mm),
        overcure_mm=float(facts.overcure_mm),
        leached_mm=float(facts.leached_mm),
        bound_frac=float(facts.bound_frac),
        orientation=facts.orientation,
        mount=facts.mount,
        uncertainty=TermUncertainty(
            unit_strength_frac=float(u_strength),
            density_mg_mm3=float(facts.u_density_mg_mm3),
            bleed_mm=float(facts.u_bleed_mm),
            overcure_mm=float(facts.u_overcure_mm),
            leached_mm=float(facts.u_leached_mm),
            bound_frac=float(facts.u_bound_frac),
            outline_scatter_mm=float(facts.outline_scatter_mm),
            height_scatter_mm=float(facts.height_scatter_mm),
            strength_scatter_frac=float(facts.strength_scatter_frac),
            degrees_of_freedom={**fitted, "unit_strength_frac": float(facts.degrees_of_freedom)},
        ),
    )


def nominal_terms(facts: FormulationFacts, chosen: RangeFacts) -> Terms:
    """Return the core's process terms of a range's way of printing, at the formulation's nominal strength."""
    found = terms_of_way(facts, chosen.orientation, chosen.mount)
    return terms_of(found, *_unit_strength(facts, found, None, None, None))


def site_limits(site: SiteValues | None) -> SiteLimits:
    """Return the core's limits with the site's own numbers."""
    if site is None:
        return SiteLimits()
    return SiteLimits(
        deviation_frac=float(site.deviation_limit_frac), deviation_narrow_frac=float(site.deviation_narrow_limit_frac)
    )


def not_checked(facts: FormulationFacts, fit: Fit | None) -> tuple[str, ...]:
    """Return the checks that could not be made because nobody's dose was asked for."""
    if fit is not None:
        return ()
    return tuple(f"daily intake of {one.residue}: needs body weight and doses per day" for one in facts.residues)


def _unit_strength(
    facts: FormulationFacts,
    terms: TermsFacts,
    unit_strength: Decimal | None,
    resin_mg_g: Decimal | None,
    u_resin_mg_g: Decimal | None,
) -> tuple[Decimal, Decimal]:
    """The unit strength [mg/mg] and its standard uncertainty: relative parts of lot and transfer in quadrature."""
    if terms.transfer_factor is None or terms.u_transfer_factor is None:
        raise Blocked.because("transfer_factor", "was not measured", accepted="an assayed transfer factor")
    resin, u_resin_frac = facts.nominal_strength_mg_g, facts.u_nominal_strength_frac
    if resin_mg_g is not None:
        if u_resin_mg_g is None:
            raise BadInput.because("u_resin_strength_mg_g", "is missing", accepted="the lot's standard uncertainty")
        resin, u_resin_frac = resin_mg_g, u_resin_mg_g / resin_mg_g
    strength = unit_strength
    if strength is None:
        strength = Decimal(repr(unit_strength_frac(float(resin), float(terms.transfer_factor))))
    relative = math.hypot(float(u_resin_frac), float(terms.u_transfer_factor / terms.transfer_factor))
    return strength, strength * Decimal(repr(relative))


def _patient(fit: Fit | None) -> Patient:
    if fit is None:
        return Patient()
    limit = fit.own_size_limit_mm
    return Patient(
        age_years=None if fit.age_days is None else fit.age_days / DAYS_PER_YEAR,
        weight_kg=None if fit.weight_kg is None else float(fit.weight_kg),
        own_size_limit_mm=None if limit is None else float(limit),
    )


def _intakes(
    facts: FormulationFacts, dose_mg: Decimal, fit: Fit | None, available_frac: Decimal
) -> tuple[IntakeLimit, ...]:
    if fit is None:
        return ()
    others_mg = fit.daily_dose_mg - dose_mg * fit.doses_per_day
    if others_mg < 0:
        raise BadInput.because(
            "daily_dose_mg",
            "is less than this dose alone",
            value=str(fit.daily_dose_mg),
            unit="mg",
            limit=str(dose_mg * fit.doses_per_day),
            accepted="all doses of the day together",
        )
    # The other doses' mass is not known yet; no sized unit loses more than the largest loss, so this is a bound.
    bound_mg = float(others_mg / available_frac) / (1 - LARGEST_LOSS_FRAC)
    return tuple(_intake(one, fit, bound_mg) for one in facts.residues)


def _intake(one: ResidueFacts, fit: Fit, others_mg: float) -> IntakeLimit:
    return IntakeLimit(
        residue=one.residue,
        content_frac=float(one.content_frac),
        doses_per_day=float(fit.doses_per_day),
        source=one.source,
        limit_mg_day=None if one.limit_mg_day is None else float(one.limit_mg_day),
        limit_mg_kg_day=None if one.limit_mg_kg_day is None else float(one.limit_mg_kg_day),
        other_mg_day=others_mg * float(one.content_frac),
    )


def _no_range(facts: FormulationFacts, way: Way) -> Refused:
    asked: Mapping[str, str] = {**way.asked, **({"layer_um": str(way.layer_um)} if way.layer_um is not None else {})}
    if not asked:
        return Blocked.because("ranges", "the formulation has no default range", accepted="a default range")
    known = "; ".join(
        f"{one.shape}, {one.rule}, {one.orientation} on {one.mount}, {'/'.join(map(str, one.layer_um))} um"
        for one in facts.ranges
    )
    for name, value in asked.items():
        values = (
            {str(layer) for one in facts.ranges for layer in one.layer_um}
            if name == "layer_um"
            else {str(getattr(one, name)) for one in facts.ranges}
        )
        if value not in values:
            return BadInput(
                Refusal(
                    field=name,
                    value=value,
                    message="was not validated for this formulation",
                    accepted=", ".join(sorted(values)) or "nothing",
                    rule="not validated",
                )
            )
    return BadInput(
        Refusal(
            field="range",
            value=", ".join(asked.values()),
            rule="not validated",
            accepted=known,
            message="these were not validated together for this formulation",
        )
    )


__all__ = [
    "DEFAULT_WAY",
    "Fit",
    "Way",
    "choose_range",
    "design_of",
    "nominal_terms",
    "not_checked",
    "not_validated",
    "refuse_not_validated",
    "refused_contract",
    "site_limits",
    "size_contract",
    "size_order_dose",
    "terms_of",
    "terms_of_way",
    "validated_range",
]
