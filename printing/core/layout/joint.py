"""One plan over several resin lots and printers: every lot's lines laid out in several ways, the best timetable kept.

For each lot the plan that is blind to due times and the one that fills plates by due day are built on every kind of
printer that may print it, and on two kinds together. What is kept is the least lateness, then the fewest printer
seconds, then the earliest end. Budgets are counts of tries, never seconds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import permutations

from dosewright.ground.pure.errors import BadInput, Refused
from printing.core.layout.batching import Group, GroupKey
from printing.core.layout.cost import plate_time
from printing.core.layout.filling import Draft, fill_plates
from printing.core.layout.joint_request import JointRequest, LotLines, Way, plan_request
from printing.core.layout.plan import coded_plates, due_of, group_cost, refuse_too_little
from printing.core.layout.plan_types import Plan, PlannedGroup, PlannedPlate
from printing.core.layout.reasons import choice_notes, time_reasons
from printing.core.layout.request import (
    PlacedLine,
    check_request,
)
from printing.core.layout.schedule import BENCH, Day, Run, Slot, Step, Timetable, latest_start, timetable

SWEEPS = 3
"""How often each lot's layout is chosen anew against those of the others."""

SHARES = ((1, 4), (1, 2), (3, 4))
"""Which part of a lot's units the first kind of printer is given where two kinds share it."""

BLIND, BY_DAY = "blind to due times", "filled by due day"


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """One way to lay a lot's lines out: its plates, the printers that may run each, and what it is called."""

    name: str
    drafts: tuple[Draft, ...]
    printers: tuple[tuple[str, ...], ...]


def make_joint_plan(request: JointRequest) -> Plan:
    """Return the plan for `request`, its plates in the order of their set-up.

    Raises BadInput for a request that cannot be planned as it stands, Blocked when a lot does not hold enough.
    """
    offered = [_layouts(lot, request) for lot in request.lots]
    chosen, found = _chosen(offered, request)
    drafts = [draft for layout in chosen for draft in layout.drafts]
    order = sorted(range(len(drafts)), key=lambda k: (found.slots[k].set_up_at, found.slots[k].printer, k))
    slots = [found.slots[k] for k in order]
    bare = coded_plates([drafts[k] for k in order], request.pools, [slot.printer for slot in slots])
    plates = tuple(_timed(plate, slot, request) for plate, slot in zip(bare, slots, strict=True))
    for lot in request.lots:
        _check_lot(lot, plates)
    return Plan(
        plates=plates,
        groups=tuple(
            _cost(lot, plates, request, choice_notes(layout.name, _others(offered, chosen, place, request), found))
            for place, (lot, layout) in enumerate(zip(request.lots, chosen, strict=True))
        ),
    )


def _layouts(lot: LotLines, request: JointRequest) -> tuple[Layout, ...]:
    """Return every layout of a lot's lines that can be made; raises what the first kind of printer refused.

    Two kinds share a lot only where one alone needs several plates, and then by due day where there are several.
    """
    kinds, buckets = _kinds(lot.ways), _buckets(lot, request)
    manners: list[tuple[str, Mapping[str, int] | None]] = [(BLIND, None)]
    if len(set(buckets.values())) > 1:
        manners.append((BY_DAY, buckets))
    whole = [(((kind, lot.lines),), manner) for kind in kinds for manner in manners]
    found, refused = _made(lot, whole, request)
    if not found or any(len(layout.drafts) > 1 for layout in found):
        shared = [(shares, manners[-1]) for shares in _shares(lot.lines, kinds)]
        found += _made(lot, shared, request)[0]
    if not found:
        raise refused[0]
    return tuple(found)


Manner = tuple[str, Mapping[str, int] | None]
Share = tuple[tuple[Way, ...], tuple[PlacedLine, ...]]


def _made(
    lot: LotLines, tries: Sequence[tuple[tuple[Share, ...], Manner]], request: JointRequest
) -> tuple[list[Layout], list[Refused]]:
    found: list[Layout] = []
    refused: list[Refused] = []
    for shares, (name, buckets) in tries:
        try:
            found.append(_layout(lot, shares, name, buckets, request))
        except Refused as problem:
            refused.append(problem)
    return found, refused


def _kinds(ways: Sequence[Way]) -> tuple[tuple[Way, ...], ...]:
    """Return printers that differ in nothing but their code and tank together, by code of the first."""
    kinds: dict[tuple[object, ...], list[Way]] = {}
    for way in sorted(ways, key=lambda one: one.printer):
        kinds.setdefault((way.profile, way.plate, way.time, way.resin), []).append(way)
    return tuple(tuple(kind) for kind in kinds.values())


def _shares(lines: Sequence[PlacedLine], kinds: Sequence[tuple[Way, ...]]) -> list[tuple[Share, ...]]:
    """Return which lines go to which of two kinds of printer: the tallest to one and the rest to the other."""
    found: list[tuple[Share, ...]] = []
    tallest = sorted(lines, key=lambda line: (-line.layers, line.code))
    whole = sum(line.section_um2_layers * line.units for line in lines)
    for one, other in permutations(kinds, 2):
        for part in SHARES:
            first, rest = _parted(tallest, whole * part[0] // part[1])
            if first and rest:
                found.append(((one, first), (other, rest)))
    return found


def _parted(lines: Sequence[PlacedLine], wanted: int) -> tuple[tuple[PlacedLine, ...], tuple[PlacedLine, ...]]:
    taken, place = 0, 0
    while place < len(lines) and taken < wanted:
        taken += lines[place].section_um2_layers * lines[place].units
        place += 1
    return tuple(lines[:place]), tuple(lines[place:])


def _layout(
    lot: LotLines, shares: Sequence[Share], name: str, buckets: Mapping[str, int] | None, request: JointRequest
) -> Layout:
    drafts: list[Draft] = []
    printers: list[tuple[str, ...]] = []
    for kind, lines in shares:
        asked = plan_request(lot, kind[0], request, lines)
        check_request(asked)
        filled = fill_plates(_group(asked.lines), asked, buckets)
        drafts += filled
        printers += [tuple(way.printer for way in kind)] * len(filled)
    where = " and ".join(", ".join(way.printer for way in kind) for kind, _ in shares)
    return Layout(name=f"{name}, on {where}", drafts=tuple(drafts), printers=tuple(printers))


def _group(lines: Sequence[PlacedLine]) -> Group:
    keys = {GroupKey(one.formulation, one.lot, one.profile, one.layer_um, one.mount) for one in lines}
    if len(keys) != 1:
        raise BadInput.because("lines", "differ in formulation, lot, profile, layer height or mount", value=str(keys))
    return Group(key=keys.pop(), lines=tuple(sorted(lines, key=lambda line: line.code)))


def _buckets(lot: LotLines, request: JointRequest) -> dict[str, int]:
    """Return for each line on which due day it must have been printed, counted from the first; lines of no day last."""
    days = {}
    for line in lot.lines:
        run = Run(
            key=(),
            formulation=lot.tank_for,
            set_up_s=0,
            print_s=0,
            after=after_printing(lot, units=line.units, zones=1, day=request.day),
            dues=(line.ready_by,) if line.ready_by else (),
            printers=(),
        )
        latest = latest_start(run, request.day)
        days[line.code] = request.day.hours.day_of(latest).toordinal() if latest else None
    order = sorted({day for day in days.values() if day is not None})
    return {code: len(order) if day is None else order.index(day) for code, day in days.items()}


def after_printing(lot: LotLines, *, units: int, zones: int, day: Day) -> tuple[Step, ...]:
    """Return everything that comes between the last layer of a plate and packs that are released."""
    take_off = Step(name="take off", seconds=day.take_off_s, manner="work", place=BENCH)
    weigh = Step(name="weigh and test", seconds=day.test_plate_s + units * day.weigh_unit_s, manner="work", place=BENCH)
    packs = Step(name="pack and release", seconds=zones * day.pack_zone_s, manner="work", place=BENCH)
    return (take_off, *lot.finishing, weigh, packs)


def _run(lot: LotLines, draft: Draft, printers: tuple[str, ...], day: Day) -> Run:
    zones = draft.zones
    seconds = plate_time(zones, draft.asked.raft, draft.asked.time).whole()
    patients = [zone for zone in zones if zone.test is None]
    return Run(
        key=min((zone.line.code, zone.part[0]) for zone in patients),
        formulation=lot.tank_for,
        set_up_s=seconds["setup"],
        print_s=seconds["layers"] + seconds["raster"] + seconds["contour"],
        after=after_printing(lot, units=sum(len(zone.units) for zone in zones), zones=len(patients), day=day),
        dues=tuple(zone.line.ready_by for zone in patients if zone.line.ready_by),
        printers=printers,
    )


def _timetable(layouts: Sequence[Layout], request: JointRequest) -> Timetable:
    runs = [
        _run(lot, draft, printers, request.day)
        for lot, layout in zip(request.lots, layouts, strict=True)
        for draft, printers in zip(layout.drafts, layout.printers, strict=True)
    ]
    return timetable(runs, request.printers, request.day, request.at)


def _chosen(offered: Sequence[tuple[Layout, ...]], request: JointRequest) -> tuple[list[Layout], Timetable]:
    """Choose a layout for every lot, one lot at a time against the choice so far, until nothing is better."""
    chosen = [layouts[0] for layouts in offered]
    best = _timetable(chosen, request)
    for _ in range(SWEEPS):
        before = best.mark
        for place, layouts in enumerate(offered):
            for layout in layouts:
                other = [*chosen[:place], layout, *chosen[place + 1 :]]
                found = _timetable(other, request)
                if found.mark < best.mark:
                    chosen, best = other, found
        if best.mark == before:
            break
    return chosen, best


def _others(
    offered: Sequence[tuple[Layout, ...]], chosen: Sequence[Layout], place: int, request: JointRequest
) -> list[tuple[str, Timetable]]:
    """Return what the other layouts of one lot would have come to, the rest as chosen."""
    return [
        (layout.name, _timetable([*chosen[:place], layout, *chosen[place + 1 :]], request))
        for layout in offered[place]
        if layout is not chosen[place]
    ]


def _timed(plate: PlannedPlate, slot: Slot, request: JointRequest) -> PlannedPlate:
    notes = time_reasons(slot, due_of(plate.zones), request.day.hours.zone)
    return replace(plate, times=slot, why=(*plate.why, *notes))


def _check_lot(lot: LotLines, plates: Sequence[PlannedPlate]) -> None:
    """Refuse when a lot's plates use more than it holds; each printer that takes part needs its tank's minimum."""
    mine = [plate for plate in plates if plate.key.lot == lot.lot]
    used = {plate.printer for plate in mine}
    ways = [way for way in lot.ways if way.printer in used]
    need = sum(plate.resin.used_ul for plate in mine) + sum(way.resin.tank_minimum_ul for way in ways)
    refuse_too_little(lot.lot, have_ul=lot.store_ul + sum(way.in_tank_ul for way in ways), need_ul=need)


def _cost(
    lot: LotLines, plates: Sequence[PlannedPlate], request: JointRequest, notes: Mapping[str, str]
) -> PlannedGroup:
    """Return the lot's cost against the bound of a printer that is as large and as fast as the best of each."""
    first = lot.ways[0]
    widest, deepest = (max(way.plate.plate_um[axis] for way in lot.ways) for axis in (0, 1))
    best = replace(
        first,
        plate=replace(first.plate, plate_um=(widest, deepest)),
        time=replace(
            first.time,
            setup_s=min(way.time.setup_s for way in lot.ways),
            layer_s=min(way.time.layer_s for way in lot.ways),
        ),
    )
    return group_cost(lot.lines, plates, plan_request(lot, best, request, lot.lines), notes)
