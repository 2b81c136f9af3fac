"""A formulation comes into use by two different signatures, once nothing is missing."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from dosewright.ground.models import AuditEntry, Outbox, Signature
from dosewright.ground.pure.errors import BadInput, Blocked, Conflict, NotAllowed, NotThere, Refused
from dosewright.ground.pure.roles import Channel
from printing.formulary import queries, services
from printing.formulary.content import FormulationSpec, TestPlan
from tests.cast import NOW, Cast, demo_formulation, found_cast, pen, validated_formulation, with_hydrocortisone

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Cast:
    cast = found_cast()
    with_hydrocortisone(cast)
    return cast


def in_review(cast: Cast, spec: FormulationSpec | None = None) -> str:
    code = services.draft_formulation(cast.nora, spec=spec or demo_formulation(), at=NOW).code
    services.submit_formulation(cast.nora, code, at=NOW)
    return code


def sign(actor: Any, code: str) -> services.FormulationAnswer:
    return services.validate_formulation(actor, code, pen=pen(services.shown_for_validate(actor, code)), at=NOW)


def test_two_signatures_validate_and_only_the_second_one_does(cast: Cast) -> None:
    code = in_review(cast)
    assert sign(cast.rosa, code).state == "in review"
    assert not Outbox.objects.filter(fact="formulation validated").exists()
    answer = sign(cast.nora, code)
    assert (answer.state, answer.signatures) == ("validated", 2)
    assert Outbox.objects.filter(fact="formulation validated").count() == 1
    assert {one.signer.username for one in Signature.objects.filter(subject=f"{code}/1")} == {
        "rosa.keller",
        "nora.stein",
    }


def test_the_same_person_or_the_same_part_never_signs_twice(cast: Cast) -> None:
    code = in_review(cast)
    sign(cast.rosa, code)
    for again in (cast.rosa, cast.jonas):
        with pytest.raises(NotAllowed):
            sign(again, code)
    assert queries.formulation_facts(cast.site.pk, code).state == "in review"
    assert Signature.objects.count() == 1


@pytest.mark.parametrize("name", ["tomas", "mira", "otto", "paul", "worker"])
def test_nobody_else_validates(cast: Cast, name: str) -> None:
    code = in_review(cast)
    with pytest.raises(NotAllowed):
        sign(getattr(cast, name), code)
    assert AuditEntry.objects.filter(action="formulation.validate", outcome="refused").count() == 1


def test_a_token_and_a_wrong_password_and_an_old_view_sign_nothing(cast: Cast) -> None:
    code = in_review(cast)
    shown = services.shown_for_validate(cast.rosa, code)
    with pytest.raises(NotAllowed):
        services.validate_formulation(cast.act("rosa.keller", Channel.TOKEN), code, pen=pen(shown), at=NOW)
    with pytest.raises(NotAllowed):
        services.validate_formulation(cast.rosa, code, pen=pen(shown, password="another"), at=NOW)
    with pytest.raises(Conflict):
        services.validate_formulation(cast.rosa, code, pen=pen({"formulation": "another"}), at=NOW)
    assert not Signature.objects.exists()


def _without_assay(spec: FormulationSpec) -> FormulationSpec:
    studies = tuple(replace(one, kind="coupon mass") if one.key == "assayed" else one for one in spec.studies)
    return replace(spec, studies=studies)


def _with_sizes(spec: FormulationSpec, *targets: str) -> FormulationSpec:
    first = spec.studies[0]
    sizes = [row for row in first.result["sizes"] if str(row["target_mg"]) in targets]
    return replace(spec, studies=(replace(first, result={**first.result, "sizes": sizes}), *spec.studies[1:]))


LACKS: list[tuple[str, Any]] = [
    ("no transfer factor", lambda s: replace(s, terms=(replace(s.terms[0], transfer_factor=None),))),
    ("there are no process terms", lambda s: replace(s, terms=())),
    ("must come from assayed units", _without_assay),
    ("too few sizes", lambda s: _with_sizes(s, "1.0", "6.0")),
    ("do not span range", lambda s: _with_sizes(s, "1.0", "2.0", "4.0")),
    ("printed otherwise", lambda s: replace(s, terms=(replace(s.terms[0], mount="sheet"),))),
    ("no range is the default", lambda s: replace(s, ranges=(replace(s.ranges[0], is_default=False),))),
    ("no process terms of its own", lambda s: replace(s, ranges=(replace(s.ranges[0], mount="sheet"),))),
    ("no print profile is pinned", lambda s: replace(s, profiles=())),
    ("a finishing step is missing", lambda s: replace(s, finishing=s.finishing[:2])),
    ("dried after every wash", lambda s: replace(s, finishing=_renumbered(s, (0, 2, 1, 3)))),
    ("the test plan lacks units", lambda s: replace(s, test_plan=replace(s.test_plan, zones=()))),
    ("no assay before use", lambda s: replace(s, test_plan=TestPlan(zones=s.test_plan.zones))),
    ("rests on no study", lambda s: replace(s, studies=tuple(one for one in s.studies if one.kind != "stability"))),
    ("no residue was measured", lambda s: replace(s, residues=())),
    ("no limit is on file", lambda s: replace(s, residues=(replace(s.residues[1], limit_mg_kg_day=None),))),
]


def _renumbered(spec: FormulationSpec, order: tuple[int, ...]) -> tuple[Any, ...]:
    return tuple(replace(spec.finishing[old], number=new) for new, old in enumerate(order, start=1))


@pytest.mark.parametrize(("message", "change"), LACKS, ids=[one[0] for one in LACKS])
def test_what_is_missing_is_named_and_stops_validation(cast: Cast, message: str, change: Any) -> None:
    code = in_review(cast, change(demo_formulation()))
    with pytest.raises(Blocked) as caught:
        sign(cast.rosa, code)
    assert message in str(caught.value)
    assert all(one.accepted for one in caught.value.refusals)
    assert any(message in line for line in services.shown_for_validate(cast.rosa, code)["still_missing"])
    assert not Signature.objects.exists()


def test_suspended_takes_two_new_signatures_to_come_back(cast: Cast) -> None:
    code = validated_formulation(cast)
    services.suspend_formulation(cast.jonas, code, reason="an assay drifts", at=NOW)
    assert sign(cast.jonas, code).state == "suspended"
    assert sign(cast.nora, code).state == "validated"


def test_suspend_needs_a_reason_and_retire_is_for_good(cast: Cast) -> None:
    code = validated_formulation(cast)
    with pytest.raises(BadInput):
        services.suspend_formulation(cast.jonas, code, reason="  ", at=NOW)
    assert services.retire_formulation(cast.nora, code, reason="replaced", at=NOW).state == "retired"
    for event in (services.suspend_formulation, services.retire_formulation):
        with pytest.raises(Conflict):
            event(cast.nora, code, reason="again", at=NOW)
    with pytest.raises(Conflict):
        services.submit_formulation(cast.nora, code, at=NOW)


def test_a_change_is_a_new_number_and_the_old_one_stays_in_use_until_then(cast: Cast) -> None:
    code = validated_formulation(cast)
    changed = replace(demo_formulation(), lot_life_days=20)
    answer = services.draft_formulation(cast.nora, spec=changed, at=NOW, code=code)
    assert (answer.code, answer.number) == (code, 2)
    assert queries.formulation_facts(cast.site.pk, code).number == 1
    services.submit_formulation(cast.nora, code, at=NOW)
    sign(cast.nora, code)
    sign(cast.rosa, code)
    facts = queries.formulation_facts(cast.site.pk, code)
    assert (facts.number, facts.lot_life_days) == (2, 20)
    assert queries.formulation_facts(cast.site.pk, code, 1).lot_life_days == 30


def test_the_record_says_what_the_draft_said(cast: Cast) -> None:
    spec = demo_formulation()
    code = services.draft_formulation(cast.nora, spec=spec, at=NOW).code
    facts = queries.formulation(cast.mira, code)
    assert sum(line.mass_frac for line in facts.recipe) == 1
    assert [line.mass_frac for line in facts.recipe] == [line.mass_frac for line in spec.recipe]
    assert facts.nominal_strength_mg_g == Decimal(40)
    assert facts.terms[0].bleed_mm == spec.terms[0].bleed_mm
    assert facts.ranges[1].size_mm == spec.ranges[1].size_mm
    assert facts.test_plan == spec.test_plan
    assert facts.drug.ingredient.code.startswith("NG-")


CONTRADICTIONS: list[tuple[str, Any]] = [
    (
        "do not add up",
        lambda s: replace(s, recipe=(replace(s.recipe[0], mass_frac=Decimal("0.6500001")), *s.recipe[1:])),
    ),
    ("must hold one drug", lambda s: replace(s, recipe=tuple(line for line in s.recipe if line != s.drug))),
    ("does not follow from the recipe", lambda s: replace(s, nominal_strength_mg_g=Decimal(400))),
    ("is no study of this formulation", lambda s: replace(s, terms=(replace(s.terms[0], study="none"),))),
    ("is given twice", lambda s: replace(s, terms=(s.terms[0], s.terms[0]))),
    ("is not a known shape", lambda s: replace(s, ranges=(replace(s.ranges[0], shape="cone"),))),
    ("is no rule for shape disc", lambda s: replace(s, ranges=(replace(s.ranges[0], rule="freehand"),))),
    ("goes with rule uniform", lambda s: replace(s, ranges=(replace(s.ranges[0], aspect_frac=None),))),
    ("whole number of layers", lambda s: replace(s, ranges=(replace(s.ranges[1], fixed_height_mm=Decimal("2.52")),))),
    ("is no range", lambda s: replace(s, ranges=(replace(s.ranges[0], dose_min_mg=Decimal(7)),))),
    ("more than one range", lambda s: replace(s, ranges=(s.ranges[0], replace(s.ranges[1], is_default=True)))),
    ("is no range of time", lambda s: replace(s, finishing=(replace(s.finishing[0], least_s=999), *s.finishing[1:]))),
    ("cannot be kept exactly", lambda s: replace(s, terms=(replace(s.terms[0], bleed_mm=Decimal("0.0280000001")),))),
    ("is not on file at this site", lambda s: replace(s, substance="phantasone")),
]


@pytest.mark.parametrize(("message", "change"), CONTRADICTIONS, ids=[one[0] for one in CONTRADICTIONS])
def test_a_contradiction_is_not_even_drafted(cast: Cast, message: str, change: Any) -> None:
    with pytest.raises(Refused) as caught:
        services.draft_formulation(cast.nora, spec=change(demo_formulation()), at=NOW)
    assert message in str(caught.value)
    assert queries.formulations(cast.nora).items == ()


def test_an_ingredient_on_file_is_never_changed_by_a_draft(cast: Cast) -> None:
    spec = demo_formulation()
    services.draft_formulation(cast.nora, spec=spec, at=NOW)
    line = spec.recipe[0]
    other = replace(line, ingredient=replace(line.ingredient, density_g_cm3=Decimal("1.2")))
    with pytest.raises(Conflict, match="other figures"):
        services.draft_formulation(cast.nora, spec=replace(spec, recipe=(other, *spec.recipe[1:])), at=NOW)


@pytest.mark.parametrize("name", ["tomas", "mira", "otto", "paul", "rosa"])
def test_only_scientists_draft(cast: Cast, name: str) -> None:
    with pytest.raises(NotAllowed):
        services.draft_formulation(getattr(cast, name), spec=demo_formulation(), at=NOW)


def test_another_site_sees_nothing_of_it(cast: Cast) -> None:
    code = validated_formulation(cast)
    elsewhere = found_cast(name="Another ward", suffix=".2")
    with pytest.raises(NotThere):
        queries.formulation(elsewhere.nora, code)
    with pytest.raises(NotThere):
        services.suspend_formulation(elsewhere.rosa, code, reason="x", at=NOW)


def test_pages_run_through_all_formulations_by_code(cast: Cast) -> None:
    codes = sorted(services.draft_formulation(cast.nora, spec=demo_formulation(), at=NOW).code for _ in range(3))
    first = queries.formulations(cast.nora, limit=2)
    second = queries.formulations(cast.nora, limit=2, after=first.next_after)
    assert [one.code for one in (*first.items, *second.items)] == codes
    assert second.next_after == ""
