"""Doses sized by a validated formulation: the model's own words, the refusals, and the nearest doses."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from dosewright.ground.pure.errors import BadInput, Blocked, Refused
from printing.core.dose.sizing import DoseNotPossible
from printing.formulary.content import FormulationFacts
from printing.formulary.contracts import formulation_contract, refused_contract, size_contract
from printing.formulary.designs import Fit, Way, not_checked, size_order_dose
from printing.formulary.queries import formulation_facts
from tests.cast import demo_formulation, found_cast, validated_formulation, with_hydrocortisone

pytestmark = pytest.mark.django_db

CONTRACTS = Path(__file__).parent.parent.parent / "fixtures" / "contracts"
CHILD = Fit(age_days=8 * 365, weight_kg=Decimal(25), doses_per_day=Decimal(1), daily_dose_mg=Decimal("6.75"))


@pytest.fixture
def facts() -> FormulationFacts:
    cast = found_cast()
    with_hydrocortisone(cast)
    return formulation_facts(cast.site.pk, validated_formulation(cast))


def schema(name: str) -> Any:
    return json.loads((CONTRACTS / f"{name}.schema.json").read_text(encoding="utf-8"))


def check(document: Any, name: str) -> None:
    jsonschema.Draft202012Validator(schema(name)).validate(json.loads(json.dumps(document, allow_nan=False)))


@pytest.mark.parametrize("rule", ["uniform", "fixed_height"])
@pytest.mark.parametrize(("dose", "units"), [("1", 1), ("1.75", 1), ("2", 1), ("3", 1), ("6", 1), ("10", 2)])
def test_the_demos_doses_are_printable_discs(facts: FormulationFacts, dose: str, units: int, rule: str) -> None:
    sized = size_order_dose(
        facts, dose_mg=Decimal(dose), way=Way(rule=rule), fit=replace(CHILD, daily_dose_mg=Decimal(dose))
    )
    unit = sized.unit.as_dict()
    assert sized.units_per_dose == units
    assert {one.verdict for one in sized.checks} == {"pass"}
    assert unit["layers"] >= 20
    assert min(unit["finished_mm"].values()) >= 1
    assert max(unit["finished_mm"].values()) * 1.05 <= 9
    assert sized.budget is not None
    assert sized.budget.expanded_frac <= 0.05
    assert abs(sized.deviation_frac) < 1e-6


def test_content_is_the_model_of_the_document_to_a_billionth(facts: FormulationFacts) -> None:
    unit = size_contract(size_order_dose(facts, dose_mg=Decimal("2.5")))["unit"]
    m = unit["model"]
    kept = (
        m["slice_volume_mm3"] + m["bleed_mm"] * m["perimeter_layer_mm2"] + m["overcure_mm"] * m["facing_mm2"]
        - m["leached_mm"] * unit["surface_mm2"]
    )  # fmt: skip
    content = m["unit_strength_frac"] * m["density_mg_mm3"] * kept * (1 - m["bound_frac"])
    assert content == pytest.approx(unit["content_mg"], rel=1e-9)
    # Nominal 40 mg/g times the assayed transfer factor 1.015.
    assert m["unit_strength_frac"] == pytest.approx(0.0406, rel=1e-12)
    assert unit["content_mg"] == pytest.approx(2.5, rel=1e-6)


def test_a_stronger_lot_makes_a_smaller_unit_of_the_same_content(facts: FormulationFacts) -> None:
    lot: dict[str, Any] = {"resin_strength_mg_g": Decimal("41"), "u_resin_strength_mg_g": Decimal("0.12")}
    nominal, strong = size_order_dose(facts, dose_mg=Decimal(3)), size_order_dose(facts, dose_mg=Decimal(3), **lot)
    assert strong.unit.mass_mg < nominal.unit.mass_mg
    assert strong.unit.content_mg == pytest.approx(nominal.unit.content_mg, rel=1e-6)
    assert strong.unit.terms.unit_strength_frac == pytest.approx(0.041 * 1.015, rel=1e-12)


def test_uncertainty_of_the_strength_has_the_lots_and_the_transfers_part(facts: FormulationFacts) -> None:
    lot: dict[str, Any] = {"resin_strength_mg_g": Decimal(40), "u_resin_strength_mg_g": Decimal("0.4")}
    terms = size_order_dose(facts, dose_mg=Decimal(3), **lot).unit.terms
    assert terms.uncertainty is not None
    by_hand = 0.0406 * math.hypot(0.4 / 40, 0.006 / 1.015)
    assert terms.uncertainty.unit_strength_frac == pytest.approx(by_hand, rel=1e-9)


def test_a_lot_of_unknown_uncertainty_is_not_sized_with(facts: FormulationFacts) -> None:
    with pytest.raises(BadInput, match="u_resin_strength_mg_g"):
        size_order_dose(facts, dose_mg=Decimal(3), resin_strength_mg_g=Decimal(40))


REFUSED_WAYS: list[tuple[str, str, Way]] = [
    ("mount", "no coupons were printed and assayed so", Way(mount="sheet")),
    ("orientation", "no coupons were printed and assayed so", Way(orientation="upright")),
    ("shape", "was not validated for this formulation", Way(shape="ring")),
    ("rule", "was not validated for this formulation", Way(rule="fixed_section")),
    ("layer_um", "was not validated for this formulation", Way(layer_um=100)),
]


@pytest.mark.parametrize(("field", "message", "way"), REFUSED_WAYS)
def test_a_way_that_was_not_validated_is_refused_by_name(
    facts: FormulationFacts, field: str, message: str, way: Way
) -> None:
    with pytest.raises(BadInput, match=message) as caught:
        size_order_dose(facts, dose_mg=Decimal(3), way=way)
    (refusal,) = caught.value.refusals
    assert refusal.field == field
    assert refusal.accepted
    check(refused_contract(caught.value), "size")


def test_terms_alone_do_not_make_a_range(facts: FormulationFacts) -> None:
    other = replace(facts.terms[0], mount="sheet")
    with pytest.raises(BadInput, match="was not validated"):
        size_order_dose(replace(facts, terms=(*facts.terms, other)), dose_mg=Decimal(3), way=Way(mount="sheet"))


@pytest.mark.parametrize("state", ["draft", "in review", "suspended", "retired"])
def test_only_a_validated_version_sizes(facts: FormulationFacts, state: str) -> None:
    with pytest.raises(Blocked, match="is not validated"):
        size_order_dose(replace(facts, state=state), dose_mg=Decimal(3))


@pytest.mark.parametrize(("dose", "below", "above"), [("0.5", None, "1"), ("30", "24", None)])
def test_a_dose_outside_names_the_limit_and_the_nearest_doses(
    facts: FormulationFacts, dose: str, below: str | None, above: str | None
) -> None:
    with pytest.raises(DoseNotPossible) as caught:
        size_order_dose(facts, dose_mg=Decimal(dose))
    document = refused_contract(caught.value)
    assert document["nearest_mg"] == {"below": below, "above": above}
    assert "validated dose per unit" in [one["field"] for one in document["refused"]]
    check(document, "size")
    for nearest in (below, above):
        if nearest is not None:
            assert size_order_dose(facts, dose_mg=Decimal(nearest)).predicted_mg == pytest.approx(float(nearest))


@pytest.mark.parametrize("dose", ["0", "-1", "NaN", "Infinity", "1.2345678901234"])
def test_what_is_no_dose_is_refused(facts: FormulationFacts, dose: str) -> None:
    with pytest.raises(BadInput):
        size_order_dose(facts, dose_mg=Decimal(dose))


def test_a_child_gets_at_most_two_units(facts: FormulationFacts) -> None:
    adult = replace(CHILD, age_days=40 * 365, weight_kg=Decimal(70), daily_dose_mg=Decimal(18))
    assert size_order_dose(facts, dose_mg=Decimal(18), fit=adult).units_per_dose == 3
    with pytest.raises(DoseNotPossible) as caught:
        size_order_dose(facts, dose_mg=Decimal(18), fit=replace(adult, age_days=8 * 365))
    assert caught.value.nearest.below == Decimal(12)


def test_the_patients_own_limit_blocks(facts: FormulationFacts) -> None:
    with pytest.raises(DoseNotPossible, match="patient's own size limit"):
        size_order_dose(facts, dose_mg=Decimal(3), fit=replace(CHILD, own_size_limit_mm=Decimal(2)))


def intake(facts: FormulationFacts, residue: str, fit: Fit, dose: str = "3") -> Any:
    sized = size_order_dose(facts, dose_mg=Decimal(dose), fit=fit)
    return sized, next(one for one in sized.checks if one.name == f"daily intake of {residue}")


def test_residues_are_held_against_the_patients_weight_and_the_whole_day(facts: FormulationFacts) -> None:
    alone = replace(CHILD, daily_dose_mg=Decimal(3))
    sized, found = intake(facts, "monomer", alone)
    assert found.value == pytest.approx(sized.unit.mass_mg * 0.0006 / 25, rel=1e-9)
    assert (found.limit, found.unit, found.verdict) == (0.05, "mg/kg/day", "pass")
    # 3.75 mg of other doses at 0.0406 x 0.99 mg/mg, at most 10 % of it washed out.
    _, more = intake(facts, "monomer", CHILD)
    others_mg = 3.75 / (0.0406 * 0.99) / 0.9
    assert more.value == pytest.approx(found.value + others_mg * 0.0006 / 25, rel=1e-9)


def test_too_much_residue_for_a_small_child_blocks(facts: FormulationFacts) -> None:
    small = replace(CHILD, weight_kg=Decimal("0.9"), daily_dose_mg=Decimal(3))
    with pytest.raises(DoseNotPossible, match="daily intake of monomer"):
        size_order_dose(facts, dose_mg=Decimal(3), fit=small)
    with pytest.raises(DoseNotPossible, match="no weight is known"):
        size_order_dose(facts, dose_mg=Decimal(3), fit=replace(CHILD, weight_kg=None))
    with pytest.raises(BadInput, match="daily_dose_mg"):
        size_order_dose(facts, dose_mg=Decimal(3), fit=replace(CHILD, daily_dose_mg=Decimal(1)))


def test_documents_keep_their_contracts(facts: FormulationFacts) -> None:
    sized = size_order_dose(facts, dose_mg=Decimal(3))
    document = size_contract(sized, not_checked=not_checked(facts, None))
    check(document, "size")
    assert [line.split(":")[0] for line in document["not_checked"]] == [
        "daily intake of 2-propanol", "daily intake of monomer", "daily intake of initiator",
    ]  # fmt: skip
    shown = formulation_contract(facts)
    check(shown, "formulation")
    check([shown], "formulation")
    assert sum(Decimal(repr(one["mass_frac"])) for one in shown["recipe"]) == 1
    assert shown["ranges"][0]["dose_mg"] == {"min": "1", "max": "6"}
    assert shown["model"]["unit_strength_frac"] == pytest.approx(0.0406, rel=1e-12)
    assert (shown["model"]["orientation"], shown["model"]["mount"]) == ("flat", "necks")


@pytest.mark.parametrize("name", ["size", "formulation"])
def test_the_contracts_are_schemas_that_can_fail(facts: FormulationFacts, name: str) -> None:
    jsonschema.Draft202012Validator.check_schema(schema(name))
    documents = {
        "size": size_contract(size_order_dose(facts, dose_mg=Decimal(3))), "formulation": formulation_contract(facts),
    }  # fmt: skip
    for key in documents[name]:
        if key not in ("not_checked", "form_name", "profiles", "finishing"):
            broken = {other: value for other, value in documents[name].items() if other != key}
            with pytest.raises(jsonschema.ValidationError):
                check(broken, name)


def test_an_unknown_formulation_is_not_there() -> None:
    cast = found_cast()
    with pytest.raises(Refused) as caught:
        formulation_facts(cast.site.pk, "FM-3333X")
    assert caught.value.refusals[0].rule == "unknown formulation"


def test_the_demo_says_that_it_is_invented() -> None:
    spec = demo_formulation()
    assert spec.is_invented
    assert "invented" in spec.name
