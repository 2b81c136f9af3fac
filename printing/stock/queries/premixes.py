"""Reading premixes: the weighing sheet of a lot that is made here, what it holds, and what keeps it from use."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from dosewright.ground.pure.errors import Refusal
from dosewright.ground.pure.site_values import SiteValues
from printing.core.resin.compounding import resin_strength
from printing.core.resin.potency import form_factor
from printing.formulary import queries as formulary
from printing.formulary.content import DRUG, IngredientFacts
from printing.formulary.spec_rules import drug_form
from printing.stock.content import SheetLine
from printing.stock.models import IngredientLot, PremixWeighing
from printing.stock.queries.weighable import finest_least_mg, too_little_of
from printing.stock.strength import AssayedDrug, CertifiedAssay, WeighedIn, potency_as_weighed, target_ug, weighed

EVEN_FRAC = Decimal("0.02")
"""Largest difference between the places of a premix's assay, of their mean (judgement, no source)."""

PREMIX = "premix"


def too_little_for_premix(facts: IngredientFacts, site_id: int, made_ug: int, *, at: datetime) -> list[Refusal]:
    """Return a refusal for each part of which a premix of this size [ug] holds less than may be weighed."""
    return too_little_of(facts.premix, finest_least_mg(site_id, at=at), made_ug)


def premix_sheet(row: IngredientLot) -> tuple[SheetLine, ...]:
    """Return the weighing sheet of a premix that is made here; empty for a delivered lot."""
    if row.target_ug is None:
        return ()
    site = row.site.values
    done = {one.premix_item.number: one for one in _weighings(row)}
    return tuple(
        _line(one.number, one.ingredient, target_ug(one.mass_frac, row.target_ug), done.get(one.number), site)
        for one in formulary.ingredient_facts(row.ingredient).premix
    )


def weighed_into_premix(row: PremixWeighing) -> WeighedIn:
    """Return one weighing into a premix as the arithmetic takes it."""
    return WeighedIn(
        ingredient=row.premix_item.ingredient.code,
        nominal_ug=row.target_ug,
        actual_ug=row.actual_ug,
        resolution_ug=row.balance.resolution_ug or 0,
        repeatability_ug=row.balance.repeatability_ug or 0,
        drug=assayed_drug(row.ingredient_lot),
    )


def weighed_moiety_frac(row: IngredientLot) -> Decimal | None:
    """Return the share of active moiety that follows from the weights of a premix, None until all are there."""
    rows = _weighings(row)
    if not rows or len(rows) < row.ingredient.parts.count():
        return None
    return resin_strength([weighed(weighed_into_premix(one)) for one in rows]).mg_g / 1000


def premix_blockers(row: IngredientLot) -> list[Refusal]:
    """Return everything that keeps a premix made here from being approved: mixing, assay, evenness, agreement."""
    if row.target_ug is None:
        return []
    if row.mixed_at is None:
        return [_against(row, "is not mixed", "a mixed premix")]
    drug, by_weight = assayed_drug(row), weighed_moiety_frac(row)
    if drug is None or by_weight is None:
        return [_against(row, "is not assayed", "an assay at every place")]
    contents = list(row.assays.values_list("content_frac", flat=True))
    spread = (max(contents) - min(contents)) / (sum(contents, Decimal(0)) / len(contents))
    off = drug.potency.frac / by_weight - 1
    nominal = nominal_moiety_frac(formulary.ingredient_facts(row.ingredient))
    return _out_of_limits(row, spread, off, drug.potency.frac / nominal, row.site.values)


def nominal_moiety_frac(facts: IngredientFacts) -> Decimal:
    """Return the share of active moiety that a drug or premix holds when it is exactly as laid down."""
    return facts.drug_frac * form_factor(drug_form(facts))


def assayed_drug(lot: IngredientLot) -> AssayedDrug | None:
    """Return what a drug's lot holds, None for a lot of anything else; raises BadInput for a contradiction."""
    assay = certified_assay(lot)
    if lot.ingredient.role != DRUG or assay is None:
        return None
    facts = formulary.ingredient_facts(lot.ingredient)
    potency = potency_as_weighed(assay, drug_form(facts), nominal_frac=facts.drug_frac)
    return AssayedDrug(assay=assay, potency=potency)


def certified_assay(lot: IngredientLot) -> CertifiedAssay | None:
    """Return the assay on a lot's certificate, None where there is none."""
    if lot.assay_frac is None or lot.u_assay_frac is None:
        return None
    return CertifiedAssay(
        frac=lot.assay_frac,
        u_frac=lot.u_assay_frac,
        basis=lot.assay_basis,
        expressed_as=lot.assay_expressed_as,
        water_frac=lot.water_frac,
        loss_on_drying_frac=lot.loss_on_drying_frac,
    )


def makers_of(lot_ids: list[int]) -> frozenset[int]:
    """Return who started, weighed, checked and mixed some premixes, as user ids; nobody for delivered lots."""
    lots = IngredientLot.objects.filter(pk__in=lot_ids, target_ug__isnull=False)
    pairs = lots.values_list(
        "received_by_id", "mixed_by_id", "weighings__weighed_by_id", "weighings__second_check__checked_by_id"
    )
    return frozenset(user for row in pairs for user in row if user is not None)


def _weighings(row: IngredientLot) -> list[PremixWeighing]:
    related = (
        "premix_item__ingredient",
        "ingredient_lot__ingredient",
        "balance",
        "weighed_by",
        "second_check__checked_by",
    )
    return list(row.weighings.select_related(*related).order_by("premix_item__number"))


def _line(
    number: int, ingredient: IngredientFacts, aim_ug: int, done: PremixWeighing | None, site: SiteValues
) -> SheetLine:
    is_drug = ingredient.role == DRUG
    tolerance = site.weigh_tolerance_drug_frac if is_drug else site.weigh_tolerance_other_frac
    target_mg = Decimal(aim_ug) / 1000
    check = getattr(done, "second_check", None)
    return SheetLine(
        number=number,
        ingredient=ingredient.code,
        ingredient_name=ingredient.name,
        role=ingredient.role,
        target_mg=target_mg,
        low_mg=target_mg * (1 - tolerance),
        high_mg=target_mg * (1 + tolerance),
        ingredient_lot=done.ingredient_lot.code if done else "",
        actual_mg=Decimal(done.actual_ug) / 1000 if done else None,
        balance=done.balance.code if done else "",
        weighed_by=done.weighed_by.printed_name if done else "",
        weighed_at=done.weighed_at if done else None,
        reason=done.reason if done else "",
        checked_by=check.checked_by.printed_name if check else "",
        checked_at=check.checked_at if check else None,
    )


def _out_of_limits(
    row: IngredientLot, spread_frac: Decimal, off_frac: Decimal, of_nominal: Decimal, site: SiteValues
) -> list[Refusal]:
    found = []
    if spread_frac > EVEN_FRAC:
        found.append(_limit(row, "places of the assay lie too far apart", spread_frac, EVEN_FRAC))
    if abs(off_frac) > site.assay_agreement_frac:
        found.append(_limit(row, "assay does not agree with the weights", off_frac, site.assay_agreement_frac))
    if not site.lot_reject_low_frac <= of_nominal <= site.lot_reject_high_frac:
        off = of_nominal - 1
        found.append(_limit(row, "holds too little or too much", off, site.lot_reject_high_frac - 1))
    return found


def _limit(row: IngredientLot, message: str, found_frac: Decimal, limit_frac: Decimal) -> Refusal:
    return Refusal(
        field=row.code,
        message=message,
        value=f"{100 * found_frac:.2f}",
        limit=f"{(100 * limit_frac).normalize():f}",
        unit="%",
        accepted=f"at most {(100 * limit_frac).normalize():f} %",
        rule=PREMIX,
    )


def _against(row: IngredientLot, message: str, accepted: str) -> Refusal:
    return Refusal(field=row.code, message=message, accepted=accepted, rule=PREMIX)
