"""Reading resin lots: the weighing sheet, the strength that follows from it, tests, expiry, blockers, people."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db.models import Q

from dosewright.ground.pure.errors import NotThere, Refusal
from dosewright.ground.pure.roles import Actor, authorise_read
from dosewright.ground.pure.site_values import SiteValues
from dosewright.ground.rest import KeysetPage
from dosewright.ground.scope import find
from printing.core.resin.compounding import FREE, REJECT, lot_verdict
from printing.formulary import queries as formulary
from printing.formulary.content import DRUG, FormulationFacts, LotTestRule
from printing.stock.content import (
    STORE,
    AssayFacts,
    LotPeople,
    LotTestFacts,
    ResinLotFacts,
    ResinLotRecord,
    SheetLine,
    StrengthFacts,
)
from printing.stock.models import IngredientLot, LotTest, ResinLot, Weighing
from printing.stock.queries.ingredient_lots import OUT_OF_USE
from printing.stock.queries.premixes import assayed_drug, makers_of
from printing.stock.queries.record import UG_PER_G, balance_ug, balances_g
from printing.stock.strength import (
    PLACES,
    WeighedIn,
    limits_of,
    strength_of,
    target_ug,
)

ACCEPTED_GAP = " | "
STATE = "lot state"


@dataclass(frozen=True, slots=True, kw_only=True)
class ResinLotRow:
    """One line of the list of resin lots."""

    code: str
    formulation: str
    formulation_number: int
    state: str
    started_at: datetime
    expires_on: date | None


def resin_lot(actor: Actor, code: str, *, at: datetime) -> ResinLotRecord:
    """Return one resin lot for people who may see the stock; raises NotAllowed, NotThere."""
    authorise_read(actor, "stock")
    return record_of(find(actor, ResinLot, code), at=at)


def resin_lot_facts(code: str, *, at: datetime) -> ResinLotFacts:
    """Return what other services need of one resin lot; `at` decides expiry. Raises NotThere."""
    row = ResinLot.objects.select_related("formulation", "site").filter(code=code).first()
    if row is None:
        raise NotThere.because("resin_lot", "no such resin lot", value=code[:40], accepted="a resin lot's code")
    facts = formulary.facts_by_id(row.formulation_id)
    weighings = _weighings(row)
    strength = _strength(facts, weighings, row.site.values)
    store_ug = balance_ug(row.code, STORE)
    return ResinLotFacts(
        pk=row.pk,
        code=row.code,
        site_id=row.site_id,
        state=row.state,
        formulation_id=row.formulation_id,
        formulation=facts.code,
        formulation_number=facts.number,
        strength_mg_g=strength.mg_g if strength else None,
        u_strength_mg_g=strength.u_mg_g if strength else None,
        fraction_of_nominal=strength.fraction_of_nominal if strength else None,
        verdict=strength.verdict if strength else "",
        expires_on=expiry_of(row),
        density_g_cm3=facts.resin_density_g_cm3,
        available_ul=int(Decimal(store_ug) / 1000 / facts.resin_density_g_cm3),
        ingredient_lots=tuple(one.ingredient_lot.code for one in weighings),
        blockers=blockers_of(row, facts, strength, at=at),
    )


def resin_lot_record(code: str, *, at: datetime) -> ResinLotRecord:
    """Return one resin lot with its whole record, for this app's services."""
    return record_of(ResinLot.objects.get(code=code), at=at)


def resin_lots(
    actor: Actor, *, after: str = "", limit: int = 50, state: str = "", formulation: str = ""
) -> KeysetPage[ResinLotRow]:
    """Return a page of resin lots by code; raises NotAllowed."""
    authorise_read(actor, "stock")
    rows = ResinLot.objects.filter(site_id=actor.site_id, code__gt=after).select_related("formulation", "site")
    if state:
        rows = rows.filter(state=state)
    if formulation:
        rows = rows.filter(formulation__code=formulation)
    found = list(rows.order_by("code")[: limit + 1])
    items = tuple(
        ResinLotRow(
            code=one.code,
            formulation=one.formulation.code,
            formulation_number=one.formulation.number,
            state=one.state,
            started_at=one.started_at,
            expires_on=expiry_of(one),
        )
        for one in found[:limit]
    )
    return KeysetPage(items=items, next_after=items[-1].code if len(found) > limit else "")


def resin_lot_with(ingredient_lot: str) -> tuple[str, ...]:
    """Return the resin lots that an ingredient lot was weighed into, by itself or within a premix."""
    inside = Q(ingredient_lot__code=ingredient_lot) | Q(ingredient_lot__weighings__ingredient_lot__code=ingredient_lot)
    found = Weighing.objects.filter(inside).values_list("resin_lot__code", flat=True)
    return tuple(sorted(set(found)))


def people_of_resin_lot(code: str) -> LotPeople:
    """Return who started, weighed, checked and mixed a lot and its premixes, and who tested it, as user ids."""
    row = ResinLot.objects.get(code=code)
    makers = {row.started_by_id, row.mixed_by_id}
    weighings = row.weighings.values_list("weighed_by_id", "second_check__checked_by_id")
    makers |= {user for pair in weighings for user in pair}
    makers |= makers_of(list(row.weighings.values_list("ingredient_lot_id", flat=True)))
    testers = row.tests.values_list("tested_by_id", flat=True)
    return LotPeople(makers=frozenset(one for one in makers if one is not None), testers=frozenset(testers))


def record_of(row: ResinLot, *, at: datetime) -> ResinLotRecord:
    """Return the record of a lot's row at a time."""
    facts, site = formulary.facts_by_id(row.formulation_id), row.site.values
    weighings = _weighings(row)
    strength = _strength(facts, weighings, site)
    tests = tuple(_test(one) for one in row.tests.select_related("tested_by"))
    return ResinLotRecord(
        code=row.code,
        state=row.state,
        version=row.version,
        formulation=facts.code,
        formulation_number=facts.number,
        formulation_name=facts.name,
        is_invented=facts.is_invented,
        nominal_strength_mg_g=facts.nominal_strength_mg_g,
        density_g_cm3=facts.resin_density_g_cm3,
        target_g=Decimal(row.target_ug) / UG_PER_G,
        started_at=row.started_at,
        started_by=row.started_by.printed_name,
        mixed_at=row.mixed_at,
        mixed_by=row.mixed_by.printed_name if row.mixed_by else "",
        expires_on=expiry_of(row),
        sheet=_sheet(row, facts, weighings, site),
        strength=strength,
        tests=tests,
        tests_missing=missing_tests(facts.test_plan.before_use, tests),
        assay=_assay(facts, tests, strength, site),
        blockers=blockers_of(row, facts, strength, at=at),
        accounts_g=balances_g(row.code),
    )


def expiry_of(row: ResinLot) -> date | None:
    """Return the last day of a mixed lot: its life, or the day one of its ingredients expires; None before mixing."""
    if row.mixed_at is None:
        return None
    own = row.mixed_at.astimezone(row.site.zone).date() + timedelta(days=row.formulation.lot_life_days)
    of_ingredients = IngredientLot.objects.filter(pk__in=row.weighings.values("ingredient_lot_id"))
    return min([own, *of_ingredients.values_list("expires_on", flat=True)])


def blockers_of(
    row: ResinLot, facts: FormulationFacts, strength: StrengthFacts | None, *, at: datetime
) -> tuple[Refusal, ...]:
    """Return everything that stands against printing with a lot now."""
    found = [] if row.state == "approved" else [_against(row.code, f"is {row.state}", "an approved lot", rule=STATE)]
    last = expiry_of(row)
    if last is not None and at.astimezone(row.site.zone).date() > last:
        found.append(_against(row.code, f"expired on {last.isoformat()}", "a lot that is in date"))
    if facts.state != "validated":
        named = f"{facts.code} number {facts.number}"
        found.append(_against(named, f"is {facts.state}", "a validated formulation"))
    if strength is not None and strength.verdict == REJECT:
        percent = f"strength is {100 * strength.fraction_of_nominal:.2f} % of nominal"
        found.append(_against(row.code, percent, "a strength that may be used"))
    inside = row.weighings.values("ingredient_lot_id")
    bad = IngredientLot.objects.filter(Q(pk__in=inside) | Q(weighed_into__premix_lot__in=inside), state__in=OUT_OF_USE)
    found += [
        _against(one.code, f"was weighed in and is {one.state}", "approved ingredients")
        for one in bad.distinct().order_by("code")
    ]
    return tuple(found)


def _against(code: str, message: str, accepted: str, *, rule: str = "resin lot") -> Refusal:
    return Refusal(field="resin_lot", value=code, message=message, accepted=accepted, rule=rule)


def missing_tests(rules: Sequence[LotTestRule], tests: Sequence[LotTestFacts]) -> tuple[str, ...]:
    """Return the tests of the plan that have no result yet, by kind and place."""
    done = {(one.kind, one.place) for one in tests}
    wanted = [(rule.kind, place) for rule in rules for place in rule.places]
    return tuple(f"{kind} {place}".strip() for kind, place in wanted if (kind, place) not in done)


def weighed_in(row: Weighing) -> WeighedIn:
    """Return one weighing's row as the arithmetic takes it."""
    return WeighedIn(
        ingredient=row.recipe_item.ingredient.code,
        nominal_ug=row.target_ug,
        actual_ug=row.actual_ug,
        resolution_ug=row.balance.resolution_ug or 0,
        repeatability_ug=row.balance.repeatability_ug or 0,
        drug=assayed_drug(row.ingredient_lot),
    )


def _weighings(row: ResinLot) -> list[Weighing]:
    related = (
        "recipe_item__ingredient",
        "ingredient_lot__ingredient",
        "balance",
        "weighed_by",
        "second_check__checked_by",
    )
    return list(row.weighings.select_related(*related).order_by("recipe_item__number"))


def _strength(facts: FormulationFacts, weighings: Sequence[Weighing], site: SiteValues) -> StrengthFacts | None:
    if len(weighings) < len(facts.recipe):
        return None
    return strength_of([weighed_in(one) for one in weighings], facts.nominal_strength_mg_g, site)


def _sheet(
    row: ResinLot, facts: FormulationFacts, weighings: Sequence[Weighing], site: SiteValues
) -> tuple[SheetLine, ...]:
    done = {one.recipe_item.number: one for one in weighings}
    lines = []
    for line in facts.recipe:
        is_drug = line.ingredient.role == DRUG
        tolerance = site.weigh_tolerance_drug_frac if is_drug else site.weigh_tolerance_other_frac
        target_mg = Decimal(target_ug(line.mass_frac, row.target_ug)) / 1000
        to_weigh = SheetLine(
            number=line.number,
            ingredient=line.ingredient.code,
            ingredient_name=line.ingredient.name,
            role=line.ingredient.role,
            target_mg=target_mg,
            low_mg=target_mg * (1 - tolerance),
            high_mg=target_mg * (1 + tolerance),
        )
        lines.append(replace(to_weigh, **_done(done.get(line.number))))
    return tuple(lines)


def _done(weighing: Weighing | None) -> dict[str, Any]:
    if weighing is None:
        return {}
    check = getattr(weighing, "second_check", None)
    return {
        "ingredient_lot": weighing.ingredient_lot.code,
        "actual_mg": Decimal(weighing.actual_ug) / 1000,
        "balance": weighing.balance.code,
        "weighed_by": weighing.weighed_by.printed_name,
        "weighed_at": weighing.weighed_at,
        "reason": weighing.reason,
        "checked_by": check.checked_by.printed_name if check else "",
        "checked_at": check.checked_at if check else None,
    }


def _test(row: LotTest) -> LotTestFacts:
    return LotTestFacts(
        kind=row.kind,
        place=row.place,
        value=row.value_text,
        unit=row.unit,
        low=row.low,
        high=row.high,
        accepted=row.accepted_text,
        passed=passes(row),
        tested_by=row.tested_by.printed_name,
        tested_at=row.tested_at,
    )


def passes(row: LotTest) -> bool:
    """Say whether a result keeps the limits that were kept with it."""
    if row.accepted_text:
        return row.value_text in row.accepted_text.split(ACCEPTED_GAP)
    if row.low is None or row.high is None:
        return False
    return row.low <= Decimal(row.value_text) <= row.high


def _assay(
    facts: FormulationFacts, tests: Sequence[LotTestFacts], strength: StrengthFacts | None, site: SiteValues
) -> AssayFacts | None:
    values = [Decimal(one.value) for one in tests if one.kind == "assay"]
    if not values or strength is None or facts.test_plan.homogeneity_frac is None:
        return None
    mean = sum(values, Decimal(0)) / len(values)
    fraction = mean / facts.nominal_strength_mg_g
    return AssayFacts(
        mean_mg_g=mean.quantize(PLACES),
        fraction_of_nominal=fraction.quantize(PLACES),
        verdict=lot_verdict(100 * fraction, limits_of(site)),
        spread_frac=((max(values) - min(values)) / mean).quantize(PLACES),
        spread_limit_frac=facts.test_plan.homogeneity_frac,
        difference_frac=(mean / strength.mg_g - 1).quantize(PLACES),
        agreement_limit_frac=site.assay_agreement_frac,
    )


def worst_verdict(facts: ResinLotRecord) -> str:
    """Return the worse verdict of the weighed and the assayed strength."""
    verdicts = [one.verdict for one in (facts.strength, facts.assay) if one is not None]
    return max(verdicts, key=_rank, default=REJECT)


def _rank(verdict: str) -> int:
    return {FREE: 0, REJECT: 2}.get(verdict, 1)
