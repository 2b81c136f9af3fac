"""Writing a formulation version into the record as a draft, with its profiles pinned and its studies kept."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from dosewright.ground.act import Act, act
from dosewright.ground.fresh import new_code
from dosewright.ground.pure.canonical import canonical_text, digest_of
from dosewright.ground.pure.errors import BadInput, Conflict, Refusal, refuse_if_any
from dosewright.ground.pure.roles import Actor
from printing.formulary import content, queries, stored
from printing.formulary.models import (
    FinishStep,
    Formulation,
    Ingredient,
    PremixItem,
    PrintProfile,
    ProcessTerms,
    RecipeItem,
    Study,
    ValidatedRange,
)
from printing.formulary.spec_rules import draft_faults
from printing.formulary.states import FORMULATION_INITIAL


@dataclass(frozen=True, slots=True, kw_only=True)
class FormulationAnswer:
    """A formulation version after an action."""

    code: str
    number: int
    state: str
    signatures: int = 0


def draft_formulation(
    actor: Actor, *, spec: content.FormulationSpec, at: datetime, code: str = ""
) -> FormulationAnswer:
    """Write `spec` as a new draft: number 1 of a new formulation, or with `code` the next number of that one.

    For formulation scientists. Raises NotAllowed, BadInput naming every contradiction, NotThere for an unknown
    code, Conflict for an ingredient that stands on file with other figures.
    """
    with act(actor, "formulation.draft", at=at, subject=code[:20]) as doing:
        refuse_if_any(BadInput, draft_faults(spec))
        codes = {one.key: new_code("study") for one in spec.studies}
        row = _add_formulation(doing, spec, code, codes)
        _add_recipe(doing, row, spec)
        studies = {one.key: _add_study(doing, row, one, codes[one.key]) for one in spec.studies}
        _add_fits(row, spec, studies)
        _add_steps(row, spec)
        for profile in spec.profiles:
            _pin_profile(doing, row, profile)
        _refuse_what_was_rounded(spec, queries.find_formulation(actor.site_id, row.code, row.number))
        doing.note(formulation=row.code, number=row.number, content=digest_of(canonical_text(spec)))
        return FormulationAnswer(code=row.code, number=row.number, state=row.state)


def _add_formulation(
    doing: Act, spec: content.FormulationSpec, code: str, study_codes: Mapping[str, str]
) -> Formulation:
    site_id, number = doing.actor.site_id, 1
    if code:
        earlier = queries.find_formulation(site_id, code)
        number = earlier.number + 1
        if earlier.substance.name != spec.substance:
            raise BadInput(
                Refusal(
                    field="substance",
                    value=spec.substance,
                    limit=earlier.substance.name,
                    message="a new version keeps its substance",
                    accepted=earlier.substance.name,
                )
            )
    doing.subject = code or new_code("formulation")
    return Formulation.objects.create(
        code=doing.subject,
        number=number,
        site_id=site_id,
        name=spec.name,
        substance_id=queries.substance_id(site_id, spec.substance),
        release=spec.release,
        form_name=spec.form_name,
        form_name_plural=spec.form_name_plural,
        state=FORMULATION_INITIAL,
        nominal_strength_mg_g=spec.nominal_strength_mg_g,
        u_nominal_strength_frac=spec.u_nominal_strength_frac,
        resin_density_g_cm3=spec.resin_density_g_cm3,
        lot_life_days=spec.lot_life_days,
        tank_life_hours=spec.tank_life_hours,
        shelf_life_days=spec.shelf_life_days,
        storage=spec.storage,
        container=spec.container,
        warnings_text=canonical_text(spec.warnings),
        test_plan_text=canonical_text(spec.test_plan),
        is_invented=spec.is_invented,
        limits_text=canonical_text([{**asdict(one), "study": study_codes[one.study]} for one in spec.residues]),
    )


def _add_recipe(doing: Act, row: Formulation, spec: content.FormulationSpec) -> None:
    for line in spec.recipe:
        ingredient = _ingredient(doing, line.ingredient)
        RecipeItem.objects.create(formulation=row, number=line.number, ingredient=ingredient, mass_frac=line.mass_frac)


def _ingredient(doing: Act, facts: content.IngredientFacts) -> Ingredient:
    """Return the ingredient on file; a new one is added with its parts, one on file is never changed."""
    named = {"name": facts.name, "grade": facts.grade, "form": facts.form}
    row = Ingredient.objects.filter(site_id=doing.actor.site_id, **named).first()
    if row is None:
        row = Ingredient.objects.create(
            code=new_code("ingredient"),
            site_id=doing.actor.site_id,
            role=facts.role,
            molar_mass_g_mol=facts.molar_mass_g_mol,
            moiety_molar_mass_g_mol=facts.moiety_molar_mass_g_mol,
            moieties_per_formula=facts.moieties_per_formula,
            crystal_waters=facts.crystal_waters,
            density_g_cm3=facts.density_g_cm3,
            density_temperature_c=facts.density_temperature_c,
            source=facts.source,
            hazards_text=canonical_text(facts.hazards),
            premix_life_days=facts.premix_life_days,
            **named,
        )
        for part in facts.premix:
            PremixItem.objects.create(
                premix=row,
                number=part.number,
                ingredient=_ingredient(doing, part.ingredient),
                mass_frac=part.mass_frac,
            )
        row.refresh_from_db()
    known, given = (canonical_text(_uncoded(asdict(one))) for one in (queries.ingredient_facts(row), facts))
    if known != given:
        raise Conflict(
            Refusal(
                field="recipe.ingredient",
                value=facts.name,
                rule="ingredient on file",
                message=f"stands on file as {row.code} with other figures",
                accepted="the figures on file, or another grade or form",
            )
        )
    return row


def _uncoded(facts: dict[str, Any]) -> dict[str, Any]:
    """A draft does not know the codes of its ingredients yet, nor those of a premix's parts."""
    parts = [{**line, "ingredient": _uncoded(line["ingredient"])} for line in facts["premix"]]
    return {**facts, "premix": parts, "code": ""}


def _add_study(doing: Act, row: Formulation, one: content.StudyFacts, code: str) -> Study:
    text = canonical_text(one.result)
    return Study.objects.create(
        code=code,
        site_id=row.site_id,
        formulation=row,
        kind=one.kind,
        title=one.title,
        result_text=text,
        digest=digest_of(text),
        is_invented=row.is_invented,
        entered_by_id=doing.actor.user_id,
        entered_at=doing.at,
    )


def _add_fits(row: Formulation, spec: content.FormulationSpec, studies: dict[str, Study]) -> None:
    for terms in spec.terms:
        values: dict[str, Any] = {name: getattr(terms, name) for name in stored.TERM_COLUMNS}
        ProcessTerms.objects.create(formulation=row, study=studies[terms.study], **values)
    for one in spec.ranges:
        ValidatedRange.objects.create(
            formulation=row,
            number=one.number,
            shape=one.shape,
            rule=one.rule,
            orientation=one.orientation,
            mount=one.mount,
            dose_min_mg=one.dose_min_mg,
            dose_max_mg=one.dose_max_mg,
            layer_um_text=",".join(map(str, one.layer_um)),
            aspect_frac=one.aspect_frac,
            fixed_height_mm=one.fixed_height_mm,
            fixed_section_mm=one.fixed_section_mm,
            fixed_tube_mm=one.fixed_tube_mm,
            cap_radius_frac=one.cap_radius_frac,
            size_mm_text=canonical_text(one.size_mm),
            surface_to_volume_min_mm=one.surface_to_volume_mm[0],
            surface_to_volume_max_mm=one.surface_to_volume_mm[1],
            is_default=one.is_default,
            study=studies[one.study],
        )


def _add_steps(row: Formulation, spec: content.FormulationSpec) -> None:
    for step in spec.finishing:
        FinishStep.objects.create(
            formulation=row,
            number=step.number,
            kind=step.kind,
            least_s=step.least_s,
            most_s=step.most_s,
            conditions_text=canonical_text(step.conditions),
        )


def _pin_profile(doing: Act, row: Formulation, profile: content.ProfileFacts) -> None:
    values: dict[str, Any] = {name: getattr(profile, name) for name in stored.PROFILE_COLUMNS}
    pinned = PrintProfile.objects.create(
        code=new_code("print profile"),
        site_id=row.site_id,
        formulation=row,
        compensation_text=canonical_text(profile.compensation),
        **values,
    )
    doing.note(**{f"profile {profile.printer_kind} {profile.layer_um} um": pinned.code})


NAMES_WITHIN = ("code", "key", "study")
"""What a draft calls its parts gives way to codes in the record; everything else must come back as it was given."""


def _refuse_what_was_rounded(spec: content.FormulationSpec, row: Formulation) -> None:
    given = json.loads(canonical_text(spec))
    kept = json.loads(canonical_text(queries.facts_of(row)))
    refusals = [
        Refusal(
            field=place,
            value=str(was),
            limit=str(now),
            rule="precision",
            message="cannot be kept exactly as it is written",
            accepted="fewer decimal places",
        )
        for place, was, now in _differences("", given, {name: kept[name] for name in given})
    ]
    refuse_if_any(BadInput, refusals)


def _differences(place: str, given: Any, kept: Any) -> Iterator[tuple[str, Any, Any]]:
    if isinstance(given, dict) and isinstance(kept, dict) and set(given) == set(kept):
        for name in given:
            if name not in NAMES_WITHIN:
                yield from _differences(f"{place}.{name}".lstrip("."), given[name], kept[name])
    elif isinstance(given, list) and isinstance(kept, list) and len(given) == len(kept):
        for number, (one, other) in enumerate(zip(given, kept, strict=True), start=1):
            yield from _differences(f"{place}[{number}]", one, other)
    elif given != kept:
        yield place, given, kept
