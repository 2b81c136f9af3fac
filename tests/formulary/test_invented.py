"""The invented formulations of the fixtures: sound, different from each other, and able to hold what they say."""

from __future__ import annotations

from dataclasses import fields
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from dosewright.ground.pure.errors import Refused
from printing.formulary.content import FormulationFacts, FormulationSpec
from printing.formulary.designs import Fit, size_order_dose
from printing.formulary.intake.toml_text import read_formulation
from printing.formulary.spec_rules import draft_faults, missing_for_validation
from tests.core.vectors import load

FOLDER = Path(__file__).parents[2] / "fixtures" / "formulations"
SPECS = {path.stem: read_formulation(path.read_text(encoding="utf-8")) for path in sorted(FOLDER.glob("*.toml"))}
DRAFT = "levothyroxine-draft"
VALID = sorted(set(SPECS) - {DRAFT})
DRUGS = load("compounding")["drugs"]


def as_validated(spec: FormulationSpec) -> FormulationFacts:
    """Return a specification as if it stood validated in the record."""
    given: dict[str, Any] = {one.name: getattr(spec, one.name) for one in fields(spec)}
    return FormulationFacts(
        **given,
        code="FM-TEST",
        number=1,
        state="validated",
        version=1,
        narrow_index=False,
        orderable_step_mg=Decimal(0),
        controlled=False,
        hazardous=False,
    )


def test_there_are_four_to_validate_and_one_draft() -> None:
    assert len(VALID) == 4
    assert {spec.substance for name, spec in SPECS.items() if name in VALID} == {
        "hydrocortisone", "prednisolone", "fludrocortisone", "melatonin"
    }  # fmt: skip
    assert all(spec.is_invented for spec in SPECS.values())


@pytest.mark.parametrize("name", sorted(SPECS))
def test_none_contradicts_itself(name: str) -> None:
    assert draft_faults(SPECS[name]) == []


@pytest.mark.parametrize("name", VALID)
def test_nothing_is_missing_for_validation(name: str) -> None:
    assert missing_for_validation(SPECS[name]) == []


def test_the_draft_lacks_what_a_validated_one_needs() -> None:
    lacking = {one.field for one in missing_for_validation(SPECS[DRAFT])}
    assert {"terms", "ranges", "finishing", "residues", "test_plan.zones"} <= lacking


def test_no_two_share_recipe_ranges_or_terms() -> None:
    for what in ("recipe", "ranges", "terms", "finishing"):
        kept = [getattr(spec, what) for name, spec in SPECS.items() if name in VALID]
        assert all(one != other for place, one in enumerate(kept) for other in kept[:place]), what
    assert len({(one.default_range.shape, one.default_range.rule) for one in map(SPECS.get, VALID) if one and
                one.default_range}) == 4  # fmt: skip


@pytest.mark.parametrize("name", sorted(SPECS))
def test_molar_masses_follow_from_standard_atomic_weights(name: str) -> None:
    drug = SPECS[name].drug.ingredient
    drug = drug.drug_part or drug
    weights = {element: Decimal(value) for element, value in DRUGS["atomic_weights"].items()}
    for part, stated in (("form", drug.molar_mass_g_mol), ("moiety", drug.moiety_molar_mass_g_mol)):
        counts = DRUGS["forms"][drug.name][part]
        assert stated == sum((count * weights[element] for element, count in counts.items()), Decimal(0))


@pytest.mark.parametrize("name", VALID)
def test_each_holds_what_its_range_says_and_weighs_what_its_study_found(name: str) -> None:
    spec = SPECS[name]
    facts, usual = as_validated(spec), spec.default_range
    assert usual is not None
    sizes = next(one for one in spec.studies if one.kind == "assayed units").result["sizes"]
    for row in sizes:
        dose = row["target_mg"]
        if not usual.dose_min_mg <= dose <= usual.dose_max_mg:
            continue
        sized = size_order_dose(facts, dose_mg=dose, fit=patient(dose))
        assert sized.units_per_dose == 1
        assert sized.unit.mass_mg == pytest.approx(float(row["mean_mass_mg"]), rel=0.02), dose
        assert sized.predicted_mg == pytest.approx(float(dose), rel=1e-6)
        assert all(check.verdict != "block" for check in sized.checks)
    for dose in (usual.dose_min_mg, usual.dose_max_mg):
        assert size_order_dose(facts, dose_mg=dose, fit=patient(dose)).units_per_dose == 1
    with pytest.raises(Refused):
        size_order_dose(facts, dose_mg=usual.dose_min_mg * Decimal("0.9"), fit=patient(usual.dose_min_mg))
    assert size_order_dose(facts, dose_mg=usual.dose_max_mg * 2, fit=patient(usual.dose_max_mg * 2)).units_per_dose == 2


def test_a_ring_keeps_its_surface_per_volume_at_every_dose() -> None:
    # Pappus: 4 pi^2 R r over 2 pi^2 R r^2 is 2 / r, with a tube of 2.0 mm 2.0 per mm (science reference 6.2, S-08).
    facts = as_validated(SPECS["melatonin-ring"])
    for dose in ("1", "1.25", "1.5", "2", "2.5"):
        unit = size_order_dose(facts, dose_mg=Decimal(dose), fit=patient(Decimal(dose))).unit
        assert unit.surface_to_volume_mm == pytest.approx(2.0, rel=2e-3)


def test_excipients_are_named_once_within_a_premix_too_and_its_drug_is_none() -> None:
    names = SPECS["fludrocortisone-tablet"].excipients
    assert names.count("poly(ethylene glycol) 300") == 1
    assert not [name for name in names if "fludrocortisone" in name]
    assert len(names) == 4


def patient(dose_mg: Decimal) -> Fit:
    """Return a grown-up who takes the dose once a day."""
    return Fit(age_days=15_000, weight_kg=Decimal(70), doses_per_day=Decimal(1), daily_dose_mg=dose_mg)
