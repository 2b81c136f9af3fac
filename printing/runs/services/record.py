"""Adds one step to a batch record, within an action; and opens the deviation that an action brings to light."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from dosewright.ground.act import Act
from dosewright.ground.fresh import new_code
from dosewright.ground.pure.canonical import canonical_text, digest_of
from printing.plates.queries import PrintBatch, Zone
from printing.runs.models import Deviation, RunStep
from printing.runs.states import DEVIATION_INITIAL


def add_step(
    doing: Act,
    batch: PrintBatch,
    kind: str,
    *,
    name: str = "",
    facts: Mapping[str, Any] | None = None,
    zone: Zone | None = None,
    **tools: Any,
) -> RunStep:
    """Add a step of `kind` with its exact facts; ``tools`` are equipment, tank fill or finishing step by id."""
    text = canonical_text(facts or {})
    doing.note(step=kind, name=name, facts=digest_of(text))
    return RunStep.objects.create(
        batch=batch, zone=zone, kind=kind, name=name, text=text, by_id=doing.actor.user_id, at=doing.at, **tools
    )


def add_deviation(
    doing: Act,
    *,
    kind: str,
    text: str,
    effect: str,
    batch_id: int | None = None,
    zone_ids: Iterable[int] = (),
    resin_lot_id: int | None = None,
    concerns: Iterable[int] = (),
    holds: bool = True,
) -> Deviation:
    """Add an open deviation and tell the house of it."""
    row = Deviation.objects.create(
        code=new_code("deviation"),
        site_id=doing.actor.site_id,
        batch_id=batch_id,
        resin_lot_id=resin_lot_id,
        kind=kind,
        text=text,
        effect=effect[:200],
        holds=holds,
        state=DEVIATION_INITIAL,
        opened_by_id=doing.actor.user_id,
        opened_at=doing.at,
    )
    row.zones.set(zone_ids)
    row.concerns.set(set(concerns))
    doing.note(deviation=row.code, kind=kind, holds=holds)
    doing.emit("deviation opened", deviation=row.code)
    return row
