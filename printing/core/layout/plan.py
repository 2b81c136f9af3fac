"""The planner for one printer: lines into groups, groups onto plates, plates with codes, time, resin and reasons.

First fit by descending height with several orders and scores; the best is kept by controllable time, then
plates, then the earlier try. `joint.py` plans several lots on several printers with the same parts.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import datetime

from dosewright.ground.pure.errors import BadInput, Blocked
from printing.core.layout.batching import group_lines
from printing.core.layout.bound import group_bound
from printing.core.layout.cost import plate_layers, plate_resin, plate_time
from printing.core.layout.filling import Draft, fill_plates
from printing.core.layout.naming import with_codes
from printing.core.layout.plan_types import Plan, PlannedGroup, PlannedPlate, PlannedZone
from printing.core.layout.reasons import plate_reasons
from printing.core.layout.request import PlacedLine, PlanRequest, Pools, check_request


def make_plan(request: PlanRequest) -> Plan:
    """Return the plan for `request`.

    Raises BadInput for a request that cannot be planned as it stands (too large a unit, too few codes, gaps
    under the least), Blocked when a resin lot does not hold enough.
    """
    check_request(request)
    groups = group_lines(request.lines)
    drafts = sorted((draft for group in groups for draft in fill_plates(group, request)), key=_urgency)
    plates = coded_plates(drafts, request.pools, [request.printer] * len(drafts))
    _check_lots(plates, request)
    return Plan(plates=plates, groups=tuple(group_cost(group.lines, plates, request) for group in groups))


def coded_plates(drafts: Sequence[Draft], pools: Pools, printers: Sequence[str]) -> tuple[PlannedPlate, ...]:
    """Return the drafts as plates on these printers, in this order; raises BadInput for too few codes."""
    if len(drafts) > len(pools.batch_codes):
        raise BadInput.because(
            "batch_codes", "too few batch codes", value=str(len(pools.batch_codes)), limit=str(len(drafts))
        )
    coded = with_codes([draft.zones for draft in drafts], pools)
    return tuple(
        _finished(draft, zones, batch, printer)
        for draft, zones, batch, printer in zip(drafts, coded, pools.batch_codes, printers, strict=False)
    )


def due_of(zones: Sequence[PlannedZone]) -> datetime | None:
    """Return when the most urgent line on a plate must be ready, None where none has a time."""
    return min((zone.line.ready_by for zone in zones if zone.test is None and zone.line.ready_by), default=None)


def group_cost(
    lines: Sequence[PlacedLine],
    plates: Sequence[PlannedPlate],
    request: PlanRequest,
    notes: Mapping[str, str] | None = None,
) -> PlannedGroup:
    """Return what the plates of these lines cost against the bound that `request`'s printer sets."""
    ours = {line.code for line in lines}
    mine = [plate for plate in plates if any(zone.line.code in ours for zone in plate.zones)]
    bound = group_bound(lines, request.plate, request.raft, request.time)
    scanned = sum(plate.seconds["raster"] + plate.seconds["contour"] for plate in mine)
    controllable = sum(plate.seconds["setup"] + plate.seconds["layers"] for plate in mine)
    bound_s = math.floor(bound.controllable_s)
    return PlannedGroup(
        key=mine[0].key,
        plates=len(mine),
        bound_plates=bound.plates,
        controllable_s=controllable,
        bound_controllable_s=bound_s,
        total_s=controllable + scanned,
        bound_total_s=bound_s + scanned,
        notes=dict(notes or {}),
    )


def _urgency(draft: Draft) -> tuple[object, ...]:
    zones = draft.zones
    due = due_of(zones)
    first = min((zone.line.code, zone.part[0]) for zone in zones if zone.test is None)
    return (due is None, due.timestamp() if due else 0.0, draft.group.key, -max(z.line.layers for z in zones), first)


def _finished(draft: Draft, zones: tuple[PlannedZone, ...], batch: str, printer: str) -> PlannedPlate:
    asked = draft.asked
    layers, base = plate_layers(zones, asked.raft)
    tallest = min((zone.line for zone in zones), key=lambda line: (-line.layers, line.code))
    return PlannedPlate(
        batch=batch,
        printer=printer,
        key=draft.group.key,
        rules=asked.plate,
        raft=asked.raft,
        zones=zones,
        layers=layers,
        base_layers=base,
        seconds=plate_time(zones, asked.raft, asked.time).whole(),
        resin=plate_resin(zones, asked.raft, asked.resin),
        tallest=tallest.code,
        ready_by=due_of(zones),
        times=None,
        why=plate_reasons(zones, tallest, draft.turned_away, asked),
    )


def _check_lots(plates: Sequence[PlannedPlate], request: PlanRequest) -> None:
    """Refuse when the plates of a lot use more than it holds; the tank minimum is needed once."""
    for lot in sorted(request.lot_available_ul):
        mine = [plate.resin for plate in plates if plate.key.lot == lot]
        need = sum(resin.used_ul for resin in mine) + (mine[0].tank_minimum_ul if mine else 0)
        refuse_too_little(lot, have_ul=request.lot_available_ul[lot], need_ul=need)


def refuse_too_little(lot: str, *, have_ul: int, need_ul: int) -> None:
    """Raise Blocked when a resin lot holds less than a plan needs [uL]."""
    if need_ul > have_ul:
        raise Blocked.because(
            f"lots.{lot}",
            "the resin lot does not hold enough for this plan",
            value=str(have_ul),
            limit=str(need_ul),
            unit="uL",
        )
