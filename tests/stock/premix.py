"""A premix on its way, for tests: invented fludrocortisone, its ingredient lots, a balance that weighs from 300 mg."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from dosewright.roof.demo.substances import found_substances
from printing.formulary.content import FormulationFacts, IngredientFacts
from printing.formulary.intake.toml_text import read_formulation
from printing.formulary.queries import formulation_facts
from printing.stock import services
from tests.cast import FORMULATIONS, NEXT_YEAR, NOW, Cast, validated_formulation

PREMIX_G = Decimal(20)
ACETATE_MG, PEG_MG = Decimal(400), Decimal(19600)


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace:
    """What a premix is made of and with."""

    formulation: FormulationFacts
    premix: IngredientFacts
    acetate: str
    peg: str
    balance: str


def spec_of(name: str) -> Any:
    """Return an invented formulation of the fixtures by its file's name."""
    return read_formulation((FORMULATIONS / f"{name}.toml").read_text(encoding="utf-8"))


def trace_bench(cast: Cast, *, at: datetime = NOW) -> Trace:
    """Set the substances and the formulation up with lots of the premix's parts and a four-place balance."""
    found_substances(cast.rosa, at=at)
    return parts_on_shelf(cast, at=at)


def parts_on_shelf(cast: Cast, *, at: datetime = NOW) -> Trace:
    """Set the formulation up, where its substance is on file, with lots of the premix's parts and a balance."""
    code = validated_formulation(cast, spec=spec_of("fludrocortisone-tablet"), at=at)
    facts = formulation_facts(cast.site.pk, code)
    premix = next(line.ingredient for line in facts.recipe if line.ingredient.premix)
    acetate, peg = (delivered(cast, part.ingredient, at=at) for part in premix.premix)
    return Trace(
        formulation=facts,
        premix=premix,
        acetate=acetate,
        peg=peg,
        balance=services.register_equipment(
            cast.paul,
            kind="balance",
            name="four-place balance",
            resolution_mg=Decimal("0.1"),
            repeatability_mg=Decimal("0.15"),
            due_on=NEXT_YEAR,
            check="invented",
            at=at,
        ),
    )


def delivered(cast: Cast, ingredient: IngredientFacts, *, at: datetime = NOW) -> str:
    """Return an approved lot of 1 kg; a drug's is 99.2 % acetate as is."""
    assay: dict[str, Any] = {
        "assay_frac": Decimal("0.992"),
        "u_assay_frac": Decimal("0.003"),
        "assay_basis": "as is",
        "assay_expressed_as": "form",
    }
    lot = services.DeliveredLot(
        ingredient=ingredient.code,
        supplier_lot="S-1",
        amount_g=Decimal(1000),
        expires_on=NEXT_YEAR,
        certificate_reference="demo certificate",
        **(assay if ingredient.role == "drug" else {}),
    )
    code = services.receive_ingredient_lot(cast.tomas, lot=lot, at=at).code
    services.approve_ingredient_lot(cast.rosa, code, at=at)
    return code


def mixed_premix(cast: Cast, bench: Trace, *, acetate_mg: Decimal = ACETATE_MG, at: datetime = NOW) -> str:
    """Return a premix weighed by Tomas, checked by Ada, and mixed."""
    lot = services.start_premix(cast.tomas, ingredient=bench.premix.code, target_g=PREMIX_G, at=at).code
    for number, (part, weight) in enumerate(((bench.acetate, acetate_mg), (bench.peg, PEG_MG)), start=1):
        services.weigh_premix(
            cast.tomas, lot, item_number=number, ingredient_lot=part, actual_mg=weight, balance=bench.balance, at=at
        )
        services.check_premix_weighing(cast.ada, lot, item_number=number, at=at)
    services.mix_premix(cast.tomas, lot, at=at)
    return lot


def assayed(cast: Cast, lot: str, *contents: str, at: datetime = NOW, expressed_as: str = "form") -> services.LotAnswer:
    """Record what Jonas found at top, middle and bottom."""
    found = dict(zip(("top", "middle", "bottom"), map(Decimal, contents), strict=True))
    return services.assay_premix(
        cast.jonas, lot, content_frac=found, u_assay_frac=Decimal("0.0001"), expressed_as=expressed_as, at=at
    )
