"""What must hold within a formulation before it can even be drafted, and what it needs to be validated. PURE."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal

from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.errors import BadInput, Refusal, Refused
from printing.core.resin.potency import DrugForm, form_factor
from printing.formulary.content import (
    ASSAYED_UNITS,
    DRUG,
    STABILITY,
    FormulationSpec,
    IngredientFacts,
    RangeFacts,
    RecipeLine,
    TermsFacts,
)
from printing.formulary.range_rules import range_faults

STRENGTH_LOW, STRENGTH_HIGH = Decimal("0.9"), Decimal("1.005")
"""A usual powder holds a little less than its form's share of the moiety; outside this the nominal strength is a
slip (judgement, no source)."""
LEAST_SIZES = 3
FINISH_ORDER = ("wash", "dry", "cure")


def draft_faults(spec: FormulationSpec) -> list[Refusal]:
    """Return everything in `spec` that contradicts itself."""
    found = [*_recipe_faults(spec), *_repeats(spec), *_unknown_studies(spec)]
    if not found:
        found += _strength_faults(spec)
    for one in spec.ranges:
        found += range_faults(one)
    for step in spec.finishing:
        if not 0 < step.least_s <= step.most_s:
            found.append(
                _fault(
                    f"finishing[{step.number}]",
                    f"{step.least_s} to {step.most_s}",
                    "is no range of time",
                    accepted="least_s > 0 and not over most_s",
                    unit="s",
                )
            )
    if sum(one.is_default for one in spec.ranges) > 1:
        found.append(_fault("ranges", None, "more than one range is the default", accepted="one default"))
    return found


def missing_for_validation(spec: FormulationSpec) -> list[Refusal]:
    """Return everything that a formulation still lacks before it can be validated."""
    found = [fault for terms in spec.terms for fault in _terms_lack(spec, terms)]
    if not spec.terms:
        found.append(_lack("terms", "there are no process terms", "terms fitted to assayed units"))
    if spec.default_range is None:
        found.append(_lack("ranges", "no range is the default", "one default range"))
    for one in spec.ranges:
        found += _range_lacks(spec, one)
    kinds = [step.kind for step in spec.finishing]
    if set(FINISH_ORDER) - set(kinds):
        found.append(_lack("finishing", "a finishing step is missing", "wash, dry and cure", ", ".join(kinds)))
    elif sorted(kinds, key=FINISH_ORDER.index) != kinds:
        found.append(
            _lack(
                "finishing",
                "units are dried after every wash and before any cure",
                "wash, then dry, then cure",
                ", ".join(kinds),
            )
        )
    if spec.shelf_life_days is not None and not any(one.kind == STABILITY for one in spec.studies):
        found.append(
            _lack(
                "shelf_life_days",
                "the stated shelf life rests on no study",
                "a study of kind stability in the container, or no stated shelf life",
                str(spec.shelf_life_days),
            )
        )
    return [*found, *_plan_lacks(spec), *_residue_lacks(spec)]


def _recipe_faults(spec: FormulationSpec) -> Iterator[Refusal]:
    total = sum((line.mass_frac for line in spec.recipe), Decimal(0))
    if total != 1:
        yield _fault("recipe", decimal_text(total), "the mass fractions do not add up", accepted="exactly 1")
    for line in spec.recipe:
        if not 0 < line.mass_frac <= 1:
            yield _fault(
                f"recipe[{line.number}].mass_frac",
                decimal_text(line.mass_frac),
                "is no mass fraction",
                accepted="more than 0, at most 1",
            )
    drugs = [line.ingredient for line in spec.recipe if line.ingredient.role == DRUG]
    if len(drugs) != 1:
        yield _fault("recipe", str(len(drugs)), "the recipe must hold one drug", accepted="1")
    for line in spec.recipe:
        if line.ingredient.premix or line.ingredient.premix_life_days is not None:
            yield from _premix_faults(line)
    for drug in (one.drug_part or one for one in drugs):
        if drug.molar_mass_g_mol is None or drug.moiety_molar_mass_g_mol is None:
            yield _fault(
                "recipe.ingredient.molar_mass_g_mol",
                drug.name,
                "a drug needs its form's and its moiety's molar mass",
                accepted="g/mol, more than 0",
            )


def _premix_faults(line: RecipeLine) -> Iterator[Refusal]:
    """A premix is one drug in something that is none; what it holds is said by its parts alone."""
    one, where = line.ingredient, f"recipe[{line.number}].ingredient.premix"
    total = sum((part.mass_frac for part in one.premix), Decimal(0))
    if total != 1:
        yield _fault(where, decimal_text(total), "the parts do not add up", accepted="exactly 1")
    drugs = [part for part in one.premix if part.ingredient.role == DRUG]
    if one.role != DRUG or len(drugs) != 1 or len(one.premix) < 2:
        yield _fault(where, one.name, "is no premix of one drug in a diluent", accepted="role drug, one drug part")
    if any(part.ingredient.premix for part in one.premix):
        yield _fault(where, one.name, "is made of another premix", accepted="parts that are bought")
    if one.molar_mass_g_mol is not None or one.moiety_molar_mass_g_mol is not None:
        yield _fault(where, one.name, "has molar masses of its own", accepted="those of its drug alone")
    if one.premix_life_days is None:
        yield _fault(where, one.name, "has no life", accepted="premix_life_days")


def _strength_faults(spec: FormulationSpec) -> list[Refusal]:
    drug = spec.drug.ingredient
    try:
        pure_mg_g = 1000 * spec.drug.mass_frac * drug.drug_frac * form_factor(drug_form(drug))
    except Refused as refused:
        return list(refused.refusals)
    low, high = STRENGTH_LOW * pure_mg_g, STRENGTH_HIGH * pure_mg_g
    if low <= spec.nominal_strength_mg_g <= high:
        return []
    return [
        _fault(
            "nominal_strength_mg_g",
            decimal_text(spec.nominal_strength_mg_g),
            "does not follow from the recipe",
            unit="mg/g",
            accepted=f"{low:.4f} to {high:.4f}",
        )
    ]


def drug_form(drug: IngredientFacts) -> DrugForm:
    """Return the form of a drug, or of the drug in a premix, with its moiety; raises BadInput without molar masses."""
    drug = drug.drug_part or drug
    if drug.molar_mass_g_mol is None or drug.moiety_molar_mass_g_mol is None:
        raise BadInput.because("molar_mass_g_mol", "is not on file", value=drug.name, accepted="g/mol")
    return DrugForm(
        molar_mass_form=Decimal(decimal_text(drug.molar_mass_g_mol)),
        molar_mass_moiety=Decimal(decimal_text(drug.moiety_molar_mass_g_mol)),
        moieties_per_form=drug.moieties_per_formula,
        crystal_waters=drug.crystal_waters,
    )


def _repeats(spec: FormulationSpec) -> Iterator[Refusal]:
    named: tuple[tuple[str, list[str]], ...] = (
        ("recipe.ingredient", [f"{i.name}, {i.grade}, {i.form}" for i in (line.ingredient for line in spec.recipe)]),
        ("studies.key", [one.key for one in spec.studies]),
        ("terms", [f"{one.orientation} on {one.mount}" for one in spec.terms]),
        ("profiles", [f"{one.printer_kind}, {one.layer_um} um" for one in spec.profiles]),
        ("residues", [one.residue for one in spec.residues]),
        ("test_plan.before_use", [one.kind for one in spec.test_plan.before_use]),
        ("test_plan.zones", [one.where for one in spec.test_plan.zones]),
    )
    for field, values in named:
        for value in sorted({one for one in values if values.count(one) > 1}):
            yield _fault(field, value, "is given twice", accepted="once")


def _unknown_studies(spec: FormulationSpec) -> Iterator[Refusal]:
    known = {one.key for one in spec.studies}
    uses = [("terms.study", one.study) for one in spec.terms] + [("ranges.study", one.study) for one in spec.ranges]
    uses += [("residues.study", one.study) for one in spec.residues]
    for field, key in uses:
        if key not in known:
            yield _fault(field, key, "is no study of this formulation", accepted=", ".join(sorted(known)) or "none")


def _terms_lack(spec: FormulationSpec, terms: TermsFacts) -> Iterator[Refusal]:
    where = f"terms {terms.orientation} on {terms.mount}"
    if terms.transfer_factor is None or terms.u_transfer_factor is None:
        yield _lack(where, "no transfer factor was measured", "the assayed ratio, never taken as 1")
    study = next(one for one in spec.studies if one.key == terms.study)
    if study.kind != ASSAYED_UNITS:
        yield _lack(
            where,
            "terms must come from assayed units: a balance does not see a leached skin",
            ASSAYED_UNITS,
            study.kind,
        )
        return
    way = (str(study.result.get("orientation", "")), str(study.result.get("mount", "")))
    if way != (terms.orientation, terms.mount):
        yield _lack(
            where, "the assayed units were printed otherwise", f"{terms.orientation} on {terms.mount}", " on ".join(way)
        )
    sizes = assayed_sizes_mg(study.result)
    if len(sizes) < LEAST_SIZES:
        yield _lack(where, "too few sizes were assayed", f"{LEAST_SIZES} or more sizes", str(len(sizes)))
    for one in spec.ranges:
        same_way = (one.orientation, one.mount) == way and len(sizes) > 0
        if same_way and (min(sizes) > one.dose_min_mg or max(sizes) < one.dose_max_mg):
            yield _lack(
                where,
                f"the assayed sizes do not span range {one.number}",
                f"{one.dose_min_mg.normalize():f} to {one.dose_max_mg.normalize():f} mg",
                f"{min(sizes)} to {max(sizes)} mg",
            )


def assayed_sizes_mg(result: object) -> list[Decimal]:
    """Return the distinct target contents [mg] of a study's assayed units."""
    rows = result.get("sizes", []) if isinstance(result, dict) else []
    return sorted({Decimal(str(row["target_mg"])) for row in rows if int(row.get("units", 0)) > 0})


def _range_lacks(spec: FormulationSpec, one: RangeFacts) -> Iterator[Refusal]:
    if spec.terms_for(one.orientation, one.mount) is None:
        yield _lack(f"range {one.number}", "has no process terms of its own", f"terms {one.orientation} on {one.mount}")
    for layer_um in one.layer_um:
        if spec.profile_for(layer_um) is None:
            yield _lack("profiles", f"no print profile is pinned for range {one.number}", f"a profile at {layer_um} um")


def _plan_lacks(spec: FormulationSpec) -> Iterator[Refusal]:
    plan = spec.test_plan
    if {zone.which for zone in plan.zones if zone.units > 0} != {"smallest", "largest"}:
        yield _lack("test_plan.zones", "the test plan lacks units", "units of the smallest and of the largest dose")
    given = {rule.kind for rule in plan.before_use}
    wanted = ("identity", "assay", "appearance", "cure strip")
    for kind in wanted:
        if kind not in given:
            yield _lack("test_plan.before_use", f"no {kind} before use", ", ".join(wanted), ", ".join(sorted(given)))
    if plan.homogeneity_frac is None:
        yield _lack("test_plan.homogeneity_frac", "no limit for the places of an assay", "a fraction")


def _residue_lacks(spec: FormulationSpec) -> Iterator[Refusal]:
    for one in spec.residues:
        if one.limit_mg_day is None and one.limit_mg_kg_day is None:
            yield _lack(f"residues {one.residue}", "no limit is on file", "mg/day or mg/kg/day")
    if not spec.residues:
        yield _lack("residues", "no residue was measured", "solvent, monomer and initiator with limits")


def _fault(field: str, value: str | None, message: str, *, accepted: str, unit: str | None = None) -> Refusal:
    return Refusal(field=field, value=value, message=message, accepted=accepted, unit=unit, rule="formulation")


def _lack(field: str, message: str, accepted: str, value: str | None = None) -> Refusal:
    return Refusal(field=field, value=value, message=message, accepted=accepted, rule="not ready to validate")


def listed(refusals: Iterable[Refusal]) -> list[str]:
    """Return refusals as plain sentences for people."""
    return [f"{one.field}: {one.message} (needed: {one.accepted})" for one in refusals]
