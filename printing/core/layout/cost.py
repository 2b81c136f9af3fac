"""What a plate costs: layers, seconds and resin of its units and of everything sacrificial."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_CEILING, Decimal

from printing.core.layout.necks import NeckRules, neck_volume_um3, necks_for
from printing.core.layout.plan_types import PlannedZone, ResinNeed
from printing.core.layout.rafts import slab_volume_um3
from printing.core.layout.request import PlacedLine, RaftRules, ResinRules, base_um
from printing.core.layout.timing import PlateSeconds, TimeCoefficients, plate_seconds

UM3_PER_UL = Decimal(10**9)


def line_necks(line: PlacedLine) -> NeckRules | None:
    """Return the necks of one unit of `line`, None where units are printed on the sheet itself."""
    if line.mount == "sheet":
        return None
    return necks_for(line.contact_um2, line.height_um, min(line.footprint_um), line.held_run_um)


def plate_layers(zones: Sequence[PlannedZone], raft: RaftRules) -> tuple[int, int]:
    """Return all layers of a plate and those below its units."""
    line = zones[0].line
    base = base_um(raft, line.mount) // line.layer_um
    return base + max(zone.line.layers for zone in zones), base


def zone_raft_um3(zone: PlannedZone, raft: RaftRules) -> int:
    """Return the volume of slab and raised code [um3]; the code counts as its whole tab, which is never less."""
    width, depth = _extent(zone)
    return slab_volume_um3(width, depth, raft) + zone.tab_um[2] * zone.tab_um[3] * raft.relief_um


def zone_necks_um3(zone: PlannedZone, raft: RaftRules) -> int:
    """Return the volume of all necks of a zone between raft and units [um3]."""
    if zone.necks is None:
        return 0
    return len(zone.units) * neck_volume_um3(zone.necks, raft.finger_gap_um)


def plate_resin(zones: Sequence[PlannedZone], raft: RaftRules, resin: ResinRules) -> ResinNeed:
    """Return the liquid a plate needs, part by part."""
    return ResinNeed(
        units_ul=_liquid_ul(sum(zone.line.volume_um3 * len(zone.units) for zone in zones), resin),
        rafts_ul=_liquid_ul(sum(zone_raft_um3(zone, raft) for zone in zones), resin),
        necks_ul=_liquid_ul(sum(zone_necks_um3(zone, raft) for zone in zones), resin),
        loss_ul=resin.loss_ul,
        tank_minimum_ul=resin.tank_minimum_ul,
    )


def plate_time(zones: Sequence[PlannedZone], raft: RaftRules, time: TimeCoefficients) -> PlateSeconds:
    """Return the plate's time; the contours of raised codes and necks are left out of the contour part."""
    layer_um = zones[0].line.layer_um
    area = sum(zone.line.section_um2_layers * len(zone.units) for zone in zones)
    area += sum(zone_raft_um3(zone, raft) + zone_necks_um3(zone, raft) for zone in zones) // layer_um
    rim = sum(zone.line.perimeter_um_layers * len(zone.units) for zone in zones)
    rim += sum(2 * sum(_extent(zone)) for zone in zones) * (raft.slab_um // layer_um)
    layers, _ = plate_layers(zones, raft)
    return plate_seconds(time, layers=layers, section_mm2_layers=area / 1e6, perimeter_mm_layers=rim / 1e3)


def _extent(zone: PlannedZone) -> tuple[int, int]:
    xs, ys = ([corner[axis] for corner in zone.polygon_um] for axis in (0, 1))
    return max(xs) - min(xs), max(ys) - min(ys)


def _liquid_ul(volume_um3: int, resin: ResinRules) -> int:
    return int((volume_um3 / UM3_PER_UL * resin.liquid_per_cured).to_integral_value(rounding=ROUND_CEILING))
