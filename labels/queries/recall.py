"""What a recall of a lot would reach: every unit by state, every pack by code, until all are accounted for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Count

from dosewright.ground.pure.codes import parse
from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.roles import Actor, authorise_read
from dosewright.ground.scope import find
from labels.models import Pack
from printing.plates.models import PlacedUnit, PrintBatch
from printing.stock.models import IngredientLot, ResinLot, Weighing

WITH_PATIENTS = ("supplied",)
IN_THE_HOUSE = ("printed", "rejected", "tested", "surplus", "retained", "packed", "returned")
GONE = ("not printed", "destroyed")
MISSING = ("unaccounted",)


@dataclass(frozen=True, slots=True, kw_only=True)
class RecalledPack:
    """One pack that a recall reaches: where it is, and whose it is, by code."""

    code: str
    state: str
    order: str
    patient: str
    batch: str
    units: int


@dataclass(frozen=True, slots=True, kw_only=True)
class RecallList:
    """What was made of a lot: counts of units by state add up to ``units``; ``missing`` are unaccounted for."""

    code: str
    resin_lots: tuple[str, ...]
    batches: tuple[str, ...]
    packs: tuple[RecalledPack, ...]
    states: Mapping[str, int]
    units: int
    with_patients: int
    in_the_house: int
    gone: int
    missing: int
    waiting: int


def recall_list(actor: Actor, code: str) -> RecallList:
    """Return what a recall of an ingredient lot or a resin lot would reach; who may see traces.

    Raises NotAllowed, NotThere, and BadInput for a code of another kind.
    """
    authorise_read(actor, "trace")
    kind, tidy = parse(code)
    lots = _resin_lots(actor, kind.name, tidy)
    batches = PrintBatch.objects.filter(site_id=actor.site_id, resin_lot__code__in=lots).order_by("code")
    counted = PlacedUnit.objects.filter(zone__batch__in=batches).values("state").annotate(number=Count("pk"))
    states = {row["state"]: row["number"] for row in counted.order_by("state")}
    return RecallList(
        code=tidy,
        resin_lots=tuple(lots),
        batches=tuple(batches.values_list("code", flat=True)),
        packs=_packs(batches),
        states=states,
        units=sum(states.values()),
        with_patients=_sum(states, WITH_PATIENTS),
        in_the_house=_sum(states, IN_THE_HOUSE),
        gone=_sum(states, GONE),
        missing=_sum(states, MISSING),
        waiting=_sum(states, ("planned",)),
    )


def _resin_lots(actor: Actor, kind: str, code: str) -> list[str]:
    if kind == "resin lot":
        return [find(actor, ResinLot, code).code]
    if kind != "ingredient lot":
        raise BadInput.because("code", f"a {kind} is not recalled", value=code, accepted="an ingredient or resin lot")
    lot = find(actor, IngredientLot, code)
    found = Weighing.objects.filter(ingredient_lot=lot).values_list("resin_lot__code", flat=True)
    return sorted(set(found))


def _packs(batches: object) -> tuple[RecalledPack, ...]:
    rows = Pack.objects.filter(batch__in=batches).select_related("order__patient", "batch")
    return tuple(
        RecalledPack(
            code=row.code,
            state=row.state,
            order=row.order.code,
            patient=row.order.patient.code,
            batch=row.batch.code,
            units=row.units,
        )
        for row in rows.annotate(units=Count("contents")).order_by("code")
    )


def _sum(states: Mapping[str, int], names: tuple[str, ...]) -> int:
    return sum(states.get(name, 0) for name in names)
