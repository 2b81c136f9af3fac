"""What documents show besides the release record: tests, lots, signatures, weighing sheets, plates."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Q

from dosewright.ground.models import Signature
from dosewright.ground.pure.codes import parse
from dosewright.ground.pure.roles import Actor
from dosewright.ground.scope import find
from labels.models import Pack
from prescriptions.queries import order_facts
from printing.formulary.content import FormulationFacts
from printing.formulary.queries import facts_by_id
from printing.plates.models import PrintBatch
from printing.plates.queries import batch_facts
from printing.runs.queries import RecordLine, test_lines
from printing.stock.content import IngredientLotFacts, ResinLotRecord
from printing.stock.models import ResinLot
from printing.stock.queries import ingredient_lot_facts, resin_lot_facts, resin_lot_record


@dataclass(frozen=True, slots=True, kw_only=True)
class TestedFacts:
    """What a certificate shows besides the release record."""

    __test__ = False

    formulation: FormulationFacts
    ingredient_lots: tuple[IngredientLotFacts, ...]
    tests: tuple[RecordLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateRecord:
    """One plate as it was planned, and whether its plan was approved."""

    code: str
    state: str
    is_approved: bool
    printer: str
    formulation: str
    resin_lot: str
    layers: int
    layer_um: int
    plan_digest: str
    plate: Mapping[str, Any]


def tested_facts(pack: Pack, *, at: datetime) -> TestedFacts:
    """Return composition, lots and tests of a pack's zone."""
    lots = resin_lot_facts(pack.batch.resin_lot.code, at=at).ingredient_lots
    return TestedFacts(
        formulation=facts_by_id(pack.batch.formulation_id),
        ingredient_lots=tuple(ingredient_lot_facts(one, at=at) for one in sorted(set(lots))),
        tests=test_lines(pack.zone.code, site_id=pack.site_id),
    )


def signatures_under(pack: Pack) -> list[Signature]:
    """Return the signatures that a release rests on: order, resin lot, zone, in the order of their times."""
    version = order_facts(pack.order.code).version
    rows = Signature.objects.filter(
        Q(subject=pack.order.code, subject_version=version, subject_kind="order")
        | Q(subject=pack.batch.resin_lot.code)
        | Q(subject=pack.zone.code)
    )
    return list(rows.filter(site_id=pack.site_id).select_related("signer").order_by("at", "pk"))


def resin_lot_to_print(actor: Actor, code: str, *, at: datetime) -> ResinLotRecord:
    """Return a resin lot's record for its weighing sheet; raises BadInput, NotThere."""
    tidy = parse(code, field="resin_lot", kind="resin lot")[1]
    return resin_lot_record(find(actor, ResinLot, tidy).code, at=at)


def plate_to_print(actor: Actor, code: str) -> PlateRecord:
    """Return a batch's plate for its map; raises BadInput, NotThere."""
    tidy = parse(code, field="batch", kind="print batch")[1]
    facts = batch_facts(find(actor, PrintBatch, tidy).code, site_id=actor.site_id)
    return PlateRecord(
        code=facts.code,
        state=facts.state,
        is_approved=facts.state not in {"planned", "cancelled"},
        printer=facts.printer,
        formulation=facts.formulation,
        resin_lot=facts.resin_lot,
        layers=facts.layers,
        layer_um=facts.layer_um,
        plan_digest=facts.plan_digest,
        plate=facts.plate,
    )
