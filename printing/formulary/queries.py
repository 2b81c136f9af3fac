"""Reading formulations: facts for other services, and pages for people."""

from __future__ import annotations

import json
from dataclasses import dataclass

from dosewright.ground.pure.errors import BadInput, NotThere, Refusal
from dosewright.ground.pure.roles import Actor, authorise_read
from dosewright.ground.rest import KeysetPage
from prescriptions.models import Substance
from printing.formulary import content
from printing.formulary.contracts import formulation_contract
from printing.formulary.models import Formulation, Ingredient, PremixItem, PrintProfile, RecipeItem
from printing.formulary.stored import profile_of, range_of, residue_of, terms_of, test_plan_of

VALIDATED = "validated"


@dataclass(frozen=True, slots=True, kw_only=True)
class FormulationRow:
    """One line of the list of formulations."""

    code: str
    number: int
    name: str
    substance: str
    release: str
    state: str
    is_invented: bool


def find_formulation(
    site_id: int, code: str, number: int | None = None, *, states: tuple[str, ...] = ()
) -> Formulation:
    """Return one version of a formulation; raises NotThere.

    Without a number: the highest in one of `states`, else the highest there is.
    """
    versions = Formulation.objects.filter(site_id=site_id, code=code).select_related("substance").order_by("-number")
    if number is not None:
        found = versions.filter(number=number).first()
    else:
        found = (versions.filter(state__in=states).first() if states else None) or versions.first()
    if found is None:
        shown = code[:40] if number is None else f"{code[:40]}, number {number}"
        raise NotThere(
            Refusal(
                field="formulation",
                value=shown,
                message="no such formulation at this site",
                accepted="a formulation code of this site",
                rule="unknown formulation",
            )
        )
    return found


def subject_of(row: Formulation) -> str:
    """Return how signatures and the audit trail name one version ("FM-37ACH/2")."""
    return f"{row.code}/{row.number}"


def formulation_facts(site_id: int, code: str, number: int | None = None) -> content.FormulationFacts:
    """Return everything that one version says; without a number the newest validated, else the newest one.

    For services; people read by `formulation`. Raises NotThere.
    """
    return facts_of(find_formulation(site_id, code, number, states=(VALIDATED,)))


def all_formulations(site_id: int) -> tuple[content.FormulationFacts, ...]:
    """Return the newest version of every formulation of a site, by code; for commands."""
    newest: dict[str, Formulation] = {}
    for row in Formulation.objects.filter(site_id=site_id).select_related("substance").order_by("code", "number"):
        newest[row.code] = row
    return tuple(facts_of(newest[code]) for code in sorted(newest))


def validated_for(site_id: int, substance: str, release: str) -> content.FormulationFacts | None:
    """Return the validated formulation of a substance and release, the newest version of the first code."""
    found = (
        Formulation.objects.filter(site_id=site_id, substance__name=substance, release=release, state=VALIDATED)
        .select_related("substance")
        .order_by("code", "-number")
        .first()
    )
    return None if found is None else facts_of(found)


def facts_by_id(formulation_id: int) -> content.FormulationFacts:
    """Return the facts of the version that a foreign key points to."""
    return facts_of(Formulation.objects.select_related("substance").get(pk=formulation_id))


def formulation(actor: Actor, code: str, number: int | None = None) -> content.FormulationFacts:
    """Return one version for people who may see formulations; raises NotAllowed, NotThere."""
    authorise_read(actor, "formulation")
    return formulation_facts(actor.site_id, code, number)


def formulations(actor: Actor, *, after: str = "", limit: int = 50, state: str = "") -> KeysetPage[FormulationRow]:
    """Return a page of the newest version of each formulation, by code; raises NotAllowed."""
    authorise_read(actor, "formulation")
    rows = Formulation.objects.filter(site_id=actor.site_id, code__gt=after).select_related("substance")
    if state:
        rows = rows.filter(state=state)
    newest: dict[str, Formulation] = {}
    for row in rows.order_by("code", "number"):
        if row.code not in newest and len(newest) > limit:
            break
        newest[row.code] = row
    codes = sorted(newest)[:limit]
    more = len(newest) > limit
    return KeysetPage(items=tuple(_row(newest[code]) for code in codes), next_after=codes[-1] if more else "")


def substance_id(site_id: int, name: str) -> int:
    """Return the row of a substance on file at the site; raises BadInput naming those there are."""
    found = Substance.objects.filter(site_id=site_id, name=name).first()
    if found is None:
        names = Substance.objects.filter(site_id=site_id).order_by("name").values_list("name", flat=True)
        known = ", ".join(names[:20])
        raise BadInput(
            Refusal(
                field="substance",
                value=name[:60],
                message="is not on file at this site",
                accepted=known or "none is on file",
                rule="unknown substance",
            )
        )
    return found.pk


def ingredient_facts(row: Ingredient) -> content.IngredientFacts:
    """Return the facts of an ingredient's row."""
    return content.IngredientFacts(
        name=row.name,
        grade=row.grade,
        role=row.role,
        form=row.form,
        density_g_cm3=row.density_g_cm3,
        density_temperature_c=row.density_temperature_c,
        source=row.source,
        molar_mass_g_mol=row.molar_mass_g_mol,
        moiety_molar_mass_g_mol=row.moiety_molar_mass_g_mol,
        moieties_per_formula=row.moieties_per_formula,
        crystal_waters=row.crystal_waters,
        hazards=tuple(json.loads(row.hazards_text)),
        premix=() if row.premix_life_days is None else _parts(row),
        premix_life_days=row.premix_life_days,
        code=row.code,
    )


def _parts(row: Ingredient) -> tuple[content.RecipeLine, ...]:
    return tuple(
        content.RecipeLine(number=one.number, mass_frac=one.mass_frac, ingredient=ingredient_facts(one.ingredient))
        for one in row.parts.select_related("ingredient").order_by("number")
    )


def ingredient_row(site_id: int, code: str) -> Ingredient:
    """Return an ingredient's row by its code; raises NotThere."""
    found = Ingredient.objects.filter(site_id=site_id, code=code).first()
    if found is None:
        raise NotThere.because(
            "ingredient", "no such ingredient at this site", value=code[:40], accepted="an ingredient code of this site"
        )
    return found


def recipe_item(formulation_id: int, number: int) -> RecipeItem:
    """Return the row of one place in the order of addition; raises BadInput."""
    found = RecipeItem.objects.filter(formulation_id=formulation_id, number=number).select_related("ingredient").first()
    if found is None:
        numbers = RecipeItem.objects.filter(formulation_id=formulation_id).values_list("number", flat=True)
        raise BadInput.because(
            "item_number",
            "is no place in this recipe",
            value=str(number),
            accepted=", ".join(map(str, sorted(numbers))),
        )
    return found


def premix_item(premix_id: int, number: int) -> PremixItem:
    """Return the row of one part of a premix; raises BadInput."""
    found = PremixItem.objects.filter(premix_id=premix_id, number=number).select_related("ingredient").first()
    if found is None:
        numbers = PremixItem.objects.filter(premix_id=premix_id).values_list("number", flat=True)
        accepted = ", ".join(map(str, sorted(numbers))) or "none: this is no premix"
        raise BadInput.because("item_number", "is no part of this premix", value=str(number), accepted=accepted)
    return found


def profile_row(code: str) -> PrintProfile:
    """Return a pinned print profile's row by its code; raises NotThere."""
    found = PrintProfile.objects.filter(code=code).first()
    if found is None:
        raise NotThere.because("profile", "no such print profile", value=code[:40])
    return found


def facts_of(row: Formulation) -> content.FormulationFacts:
    """Return the facts of a version's row."""
    substance = row.substance
    studies = {one.pk: one for one in row.studies.order_by("pk")}
    keys = {pk: one.code for pk, one in studies.items()}
    return content.FormulationFacts(
        code=row.code,
        number=row.number,
        state=row.state,
        version=row.version,
        name=row.name,
        is_invented=row.is_invented,
        substance=substance.name,
        release=row.release,
        form_name=row.form_name,
        form_name_plural=row.form_name_plural,
        nominal_strength_mg_g=row.nominal_strength_mg_g,
        u_nominal_strength_frac=row.u_nominal_strength_frac,
        resin_density_g_cm3=row.resin_density_g_cm3,
        lot_life_days=row.lot_life_days,
        tank_life_hours=row.tank_life_hours,
        shelf_life_days=row.shelf_life_days,
        storage=row.storage,
        container=row.container,
        warnings=tuple(json.loads(row.warnings_text)),
        recipe=tuple(
            content.RecipeLine(number=one.number, mass_frac=one.mass_frac, ingredient=ingredient_facts(one.ingredient))
            for one in row.recipe.select_related("ingredient").order_by("number")
        ),
        studies=tuple(
            content.StudyFacts(
                key=one.code, code=one.code, kind=one.kind, title=one.title, result=json.loads(one.result_text)
            )
            for one in studies.values()
        ),
        terms=tuple(terms_of(one, keys) for one in row.terms.order_by("pk")),
        ranges=tuple(range_of(one, keys) for one in row.ranges.order_by("number")),
        finishing=tuple(
            content.FinishFacts(
                number=one.number,
                kind=one.kind,
                least_s=one.least_s,
                most_s=one.most_s,
                conditions=json.loads(one.conditions_text),
            )
            for one in row.finishing.order_by("number")
        ),
        profiles=tuple(profile_of(one) for one in row.profiles.filter(withdrawn_at=None).order_by("pk")),
        test_plan=test_plan_of(json.loads(row.test_plan_text)),
        residues=tuple(residue_of(one) for one in json.loads(row.limits_text)),
        narrow_index=substance.narrow_index,
        orderable_step_mg=substance.rounding_step_mg,
        controlled=substance.controlled,
        hazardous=substance.hazardous,
    )


def _row(row: Formulation) -> FormulationRow:
    return FormulationRow(
        code=row.code,
        number=row.number,
        name=row.name,
        substance=row.substance.name,
        release=row.release,
        state=row.state,
        is_invented=row.is_invented,
    )


__all__ = [
    "FormulationRow",
    "all_formulations",
    "facts_by_id",
    "facts_of",
    "find_formulation",
    "formulation",
    "formulation_contract",
    "formulation_facts",
    "formulations",
    "ingredient_facts",
    "ingredient_row",
    "premix_item",
    "profile_row",
    "recipe_item",
    "subject_of",
    "substance_id",
    "validated_for",
]
