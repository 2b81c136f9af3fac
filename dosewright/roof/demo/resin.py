"""Makes what the orders need: ingredient lots, premixes, and one resin lot of each formulation."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from typing import Any

from dosewright.roof.demo.stage import Stage
from printing.formulary.content import DRUG, FormulationFacts, IngredientFacts
from printing.formulary.queries import formulation_facts
from printing.stock import services as stock
from printing.stock.content import PREMIX_PLACES, SheetLine
from printing.stock.queries import ingredient_lot_facts, resin_lot_record

SCALE_MG = Decimal("0.1")
SPREAD = (Decimal("1.002"), Decimal("1.000"), Decimal("0.998"))
"""What an invented assay finds at three places, of their mean."""


def make_resin(stage: Stage, formulation: str, *, balance: str, lot_g: Decimal, premix_g: Decimal) -> str:
    """Receive, weigh, mix, test and approve one resin lot, its premix first, and return its code."""
    facts = formulation_facts(stage.site_id, formulation)
    tomas, ada = stage.person("tomas.lind"), stage.person("ada.brandt")
    lots = _ingredient_lots(stage, facts, balance=balance, lot_g=lot_g, premix_g=premix_g)
    lot = stock.start_resin_lot(tomas, formulation=formulation, target_g=lot_g, at=stage.now()).code
    for line in resin_lot_record(lot, at=stage.now()).sheet:
        stage.skip(120)
        stock.weigh(
            tomas,
            lot,
            item_number=line.number,
            ingredient_lot=lots[line.number],
            actual_mg=_weighed(line),
            balance=balance,
            at=stage.now(),
        )
        stock.check_weighing(ada, lot, item_number=line.number, at=stage.now())
    stage.skip(1800)
    stock.mix_resin_lot(tomas, lot, at=stage.now())
    _test(stage, lot, facts)
    rosa = stage.person("rosa.keller")
    shown = stock.shown_for_approve(rosa, lot, at=stage.now())
    stock.approve_resin_lot(rosa, lot, pen=stage.pen("rosa.keller", shown), at=stage.now())
    strength = resin_lot_record(lot, at=stage.now()).strength
    assert strength is not None
    stage.say(
        f"resin lot {lot} of {facts.substance} weighed by two, tested, approved by a third: {strength.mg_g:.4g} mg/g, "
        f"{strength.fraction_of_nominal:.2%} of nominal"
    )
    return lot


def _ingredient_lots(
    stage: Stage, facts: FormulationFacts, *, balance: str, lot_g: Decimal, premix_g: Decimal
) -> dict[int, str]:
    """Return an approved lot for every line of the recipe: delivered, or made here where it is a premix."""
    lots: dict[int, str] = {}
    for line in facts.recipe:
        if line.ingredient.premix:
            lots[line.number] = _premix(stage, line.ingredient, balance=balance, target_g=premix_g)
        else:
            lots[line.number] = _delivered(stage, line.ingredient, lot_g * line.mass_frac)
    return lots


def _delivered(stage: Stage, ingredient: IngredientFacts, needed_g: Decimal) -> str:
    assay: dict[str, Any] = {
        "assay_frac": Decimal("0.9950"),
        "u_assay_frac": Decimal("0.0020"),
        "assay_basis": "as is" if ingredient.crystal_waters else "dried",
        "loss_on_drying_frac": None if ingredient.crystal_waters else Decimal("0.0050"),
        "assay_expressed_as": "form",
    }
    delivered = stock.DeliveredLot(
        ingredient=ingredient.code,
        supplier_lot=f"INVENTED-{ingredient.code[-4:]}",
        amount_g=max(needed_g * Decimal("2.5"), Decimal(5)).quantize(Decimal("0.001")),
        expires_on=stage.now().date() + timedelta(days=500),
        certificate_reference=f"invented certificate of {ingredient.name}"[:120],
        **(assay if ingredient.role == DRUG else {}),
    )
    lot = stock.receive_ingredient_lot(stage.person("tomas.lind"), lot=delivered, at=stage.now()).code
    stock.approve_ingredient_lot(stage.person("rosa.keller"), lot, at=stage.now())
    return lot


def _premix(stage: Stage, premix: IngredientFacts, *, balance: str, target_g: Decimal) -> str:
    """Make a premix: weighed by two people, mixed, assayed at three places, approved by somebody else."""
    tomas, ada = stage.person("tomas.lind"), stage.person("ada.brandt")
    parts = {part.number: _delivered(stage, part.ingredient, target_g * part.mass_frac) for part in premix.premix}
    lot = stock.start_premix(tomas, ingredient=premix.code, target_g=target_g, at=stage.now()).code
    for line in ingredient_lot_facts(lot, at=stage.now()).sheet:
        stage.skip(120)
        stock.weigh_premix(
            tomas,
            lot,
            item_number=line.number,
            ingredient_lot=parts[line.number],
            actual_mg=_weighed(line),
            balance=balance,
            at=stage.now(),
        )
        stock.check_premix_weighing(ada, lot, item_number=line.number, at=stage.now())
    stage.skip(900)
    stock.mix_premix(tomas, lot, at=stage.now())
    by_weight = ingredient_lot_facts(lot, at=stage.now()).weighed_moiety_frac
    assert by_weight is not None
    found = {
        place: (by_weight * factor).quantize(Decimal("0.0000001"))
        for place, factor in zip(PREMIX_PLACES, SPREAD, strict=True)
    }
    stock.assay_premix(
        stage.person("jonas.weber"),
        lot,
        content_frac=found,
        u_assay_frac=(by_weight / 200).quantize(Decimal("0.0000001")),
        expressed_as="moiety",
        at=stage.now(),
    )
    stock.approve_ingredient_lot(stage.person("rosa.keller"), lot, at=stage.now())
    stage.say(
        f"premix {lot} made, assayed at three places and approved: {premix.name}, which the balance can weigh "
        f"({100 * by_weight:.3f} % active)"
    )
    return lot


def _weighed(line: SheetLine) -> Decimal:
    """Return an invented weight near the target, on the balance's scale."""
    return (line.target_mg * (1 + Decimal(line.number - 3) / 5000)).quantize(SCALE_MG)


def _test(stage: Stage, lot: str, facts: FormulationFacts) -> None:
    jonas = stage.person("jonas.weber")
    strength = resin_lot_record(lot, at=stage.now()).strength
    assert strength is not None
    for rule in facts.test_plan.before_use:
        for number, place in enumerate(rule.places):
            stage.skip(300)
            stock.record_lot_test(
                jonas, lot, kind=rule.kind, place=place, value=_result(rule, strength.mg_g, number), at=stage.now()
            )
    stock.end_lot_tests(jonas, lot, at=stage.now())


def _result(rule: Any, strength_mg_g: Decimal, number: int) -> str:
    if rule.accepted:
        return str(rule.accepted[0])
    if rule.kind == "assay":
        return str((strength_mg_g * SPREAD[number]).quantize(Decimal("0.0001")))
    return str((rule.low + rule.high) / 2)
