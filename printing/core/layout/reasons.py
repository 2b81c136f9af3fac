"""Why a plate is as it is, in sentences a technician can check against the plate map."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, tzinfo

from printing.core.layout.packing import TurnedAway
from printing.core.layout.plan_types import PlannedZone
from printing.core.layout.request import PlacedLine, PlanRequest, TestSpot
from printing.core.layout.schedule import Slot, Timetable
from printing.core.layout.zones import ZoneRules, all_shapes


def plate_reasons(
    zones: Sequence[PlannedZone], tallest: PlacedLine, turned_away: TurnedAway | None, request: PlanRequest
) -> tuple[str, ...]:
    """Return the notes of one plate: what sets its height, why it exists, how full it is, splits and tests."""
    notes = [f"{tallest.code} is the tallest: {tallest.layers} layers above the raft decide the plate's layers"]
    if turned_away is not None:
        notes.append(_opened_note(turned_away))
    notes.append(_fill_note(zones, request))
    notes += [_split_note(zone, request) for zone in zones if zone.part[1] > 1]
    notes += [_reprint_note(zone) for zone in zones if zone.test is None and zone.line.instead_of]
    notes += [_test_note(zone, zone.test) for zone in zones if zone.test is not None]
    return tuple(notes)


def time_reasons(slot: Slot, due: datetime | None, zone: tzinfo) -> tuple[str, ...]:
    """Return why a plate runs on its printer and when, in the site's time."""
    ends = f"{slot.printer} ends it at {_when(slot.printed_at, zone)}"
    if slot.others:
        others = ", ".join(f"{code} at {_when(moment, zone)}" for code, moment in slot.others)
        notes = [f"printed where it ends first: {ends}, {others}"]
    else:
        notes = [f"{ends}; no other printer of this plate's kind has a validated profile for it"]
    if slot.change_over:
        notes.append(f"{slot.printer} must be changed over to another formulation's tank before it")
    return (*notes, _due_note(slot, due, zone))


def choice_notes(name: str, others: Sequence[tuple[str, Timetable]], kept: Timetable) -> dict[str, str]:
    """Return which layout of a lot was kept, and what the others would have cost the whole plan."""
    return {
        "kept": f"{name}: {_judged(kept)}",
        **{f"other {number}": f"{other}: {_judged(found)}" for number, (other, found) in enumerate(others, start=1)},
    }


def smallest_zone_um(line: PlacedLine, request: PlanRequest) -> tuple[int, int]:
    """Return width and depth of the smallest single zone that would hold the whole line."""
    raft = request.raft
    rules = ZoneRules(
        unit_gap_um=request.plate.unit_gap_um, border_um=raft.border_um, tab_um=raft.tab_um, tab_gap_um=raft.tab_gap_um
    )
    shapes = all_shapes(line.outline, line.footprint_um, line.units, rules)
    best = min(shapes, key=lambda shape: (shape.area_um2, shape.width_um))
    return best.width_um, best.depth_um


def _opened_note(away: TurnedAway) -> str:
    wanted, room = (f"{_mm(size[0])} x {_mm(size[1])} mm" for size in (away.smallest_um, away.room_um))
    return (
        f"opened for {away.key[0]}: its most compact zone takes {wanted}, the largest room left on plates with "
        f"the same formulation and lot was {room}"
    )


def _fill_note(zones: Sequence[PlannedZone], request: PlanRequest) -> str:
    gap, edge = request.plate.zone_gap_um, request.plate.edge_um
    width, depth = (side - 2 * edge + gap for side in request.plate.plate_um)
    covered = 0
    for zone in zones:
        xs, ys = ([corner[axis] for corner in zone.polygon_um] for axis in (0, 1))
        covered += (max(xs) - min(xs) + gap) * (max(ys) - min(ys) + gap)
    return f"{len(zones)} zones with their gaps cover {covered * 100 // (width * depth)} % of the usable plate"


def _split_note(zone: PlannedZone, request: PlanRequest) -> str:
    width, depth = smallest_zone_um(zone.line, request)
    part, parts = zone.part
    return (
        f"{zone.line.code} is split: part {part} of {parts} stands here; in one zone its {zone.line.units} units "
        f"would need about {_mm(width)} x {_mm(depth)} mm, more than an empty plate offers beside the test zones"
    )


def _reprint_note(zone: PlannedZone) -> str:
    gone = ", ".join(zone.line.instead_of)
    return f"zone {zone.code} is a reprint of {zone.line.count} units of {zone.line.code}: {gone} came to nothing"


def _test_note(zone: PlannedZone, spot: TestSpot) -> str:
    return (
        f"test zone {zone.code} ({spot.where}): {len(zone.units)} units of the {spot.which} dose on this plate "
        f"({zone.line.code}), for no patient"
    )


def _due_note(slot: Slot, due: datetime | None, zone: tzinfo) -> str:
    ready = f"ready for its patients at {_when(slot.ready_at, zone)}"
    if due is None or slot.start_by is None:
        return ready
    if slot.late_s:
        return f"LATE: {ready}, due at {_when(due, zone)}; it should have been set up by {_when(slot.start_by, zone)}"
    return f"{ready}, due at {_when(due, zone)}: set up by {_when(slot.start_by, zone)} at the latest"


def _judged(found: Timetable) -> str:
    return f"{found.late_s} s late over all lines, {found.printer_s} printer seconds"


def _when(moment: datetime, zone: tzinfo) -> str:
    return moment.astimezone(zone).strftime("%Y-%m-%d %H:%M")


def _mm(length_um: int) -> str:
    return f"{length_um // 1000}.{length_um % 1000 // 100}"
