"""The plan as the plain mapping that is hashed, stored, printed by `plan --show --json` and checked."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from dosewright.ground.pure.canonical import canonical_text, digest_of
from printing.core.layout.batching import GroupKey
from printing.core.layout.plan_types import Plan, PlannedGroup, PlannedPlate, PlannedZone
from printing.core.layout.schedule import Slot


def plan_record(plan: Plan) -> dict[str, Any]:
    """Return the plan as integers, strings and lists; equal plans give equal canonical text."""
    return {
        "plates": [_plate(plate) for plate in plan.plates],
        "groups": [_group(group) for group in plan.groups],
    }


def record_hash(record: dict[str, Any]) -> str:
    """Return the SHA-256 of the record's canonical text, for a whole plan or one plate of it."""
    return digest_of(canonical_text(record))


def _plate(plate: PlannedPlate) -> dict[str, Any]:
    rules, raft = plate.rules, plate.raft
    return {
        "batch": plate.batch,
        "printer": plate.printer,
        **_key(plate.key),
        "layers": plate.layers,
        "base_layers": plate.base_layers,
        "seconds": dict(plate.seconds),
        "resin_ul": plate.resin.total_ul,
        "resin": {
            "units_ul": plate.resin.units_ul,
            "rafts_ul": plate.resin.rafts_ul,
            "necks_ul": plate.resin.necks_ul,
            "loss_ul": plate.resin.loss_ul,
            "tank_minimum_ul": plate.resin.tank_minimum_ul,
        },
        "plate_um": list(rules.plate_um),
        "build_height_um": rules.build_height_um,
        "gaps_um": {"unit": rules.unit_gap_um, "zone": rules.zone_gap_um, "edge": rules.edge_um},
        "raft": {
            "border_um": raft.border_um,
            "slab_um": raft.slab_um,
            "bevel_um": raft.bevel_um,
            "finger_gap_um": raft.finger_gap_um,
            "relief_um": raft.relief_um,
            "tab_gap_um": raft.tab_gap_um,
        },
        "ready_by": _time(plate.ready_by),
        "times": _times(plate.times),
        "tallest": plate.tallest,
        "why": list(plate.why),
        "zones": [_zone(zone, place) for place, zone in enumerate(plate.zones, start=1)],
    }


def _zone(zone: PlannedZone, removal: int) -> dict[str, Any]:
    line, test = zone.line, zone.test
    necks = zone.necks
    return {
        "line": line.code if test is None else None,
        "geometry_of": line.code,
        "test": None if test is None else {"which": test.which, "where": test.where},
        "code": zone.code,
        "part": list(zone.part),
        "instead_of": list(line.instead_of) if test is None else [],
        "removal": removal,
        "layers": line.layers,
        "height_um": line.height_um,
        "outline": line.outline,
        "polygon_um": [list(corner) for corner in zone.polygon_um],
        "tab_um": list(zone.tab_um),
        "tab_rotation_deg": zone.tab_rotation_deg,
        "necks": None
        if necks is None
        else {
            "count": necks.count,
            "tip_um": necks.tip_um,
            "base_um": necks.base_um,
        },
        "units": [
            {
                "code": unit.code,
                "x_um": unit.x_um,
                "y_um": unit.y_um,
                "rotation_deg": unit.rotation_deg,
                "orientation": line.orientation,
                "footprint_um": list(line.footprint_um),
            }
            for unit in zone.units
        ],
    }


def _group(group: PlannedGroup) -> dict[str, Any]:
    return {
        **_key(group.key),
        "plates": group.plates,
        "bound_plates": group.bound_plates,
        "controllable_s": group.controllable_s,
        "bound_controllable_s": group.bound_controllable_s,
        "controllable_ratio": _ratio(group.controllable_s, group.bound_controllable_s),
        "total_s": group.total_s,
        "bound_total_s": group.bound_total_s,
        "total_ratio": _ratio(group.total_s, group.bound_total_s),
        "notes": dict(group.notes),
    }


def _key(key: GroupKey) -> dict[str, Any]:
    return {
        "formulation": key.formulation,
        "lot": key.lot,
        "profile": key.profile,
        "layer_um": key.layer_um,
        "mount": key.mount,
    }


def _times(slot: Slot | None) -> dict[str, Any] | None:
    if slot is None:
        return None
    return {
        "start_by": _time(slot.start_by),
        "set_up_at": _time(slot.set_up_at),
        "printed_at": _time(slot.printed_at),
        "ready_at": _time(slot.ready_at),
        "late_s": slot.late_s,
        "change_over": slot.change_over,
    }


def _ratio(found: int, bound: int) -> Decimal | None:
    return (Decimal(found) / Decimal(bound)).quantize(Decimal("0.0001")) if bound else None


def _time(moment: datetime | None) -> str | None:
    return None if moment is None else moment.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
