"""What no layout can beat: the least area of convex zones, the least number of plates, the least time.

The areas here are of zones grown by half the zone gap on all sides; grown zones do not overlap, and those of
one plate lie within a rectangle of (usable width + gap) x (usable depth + gap).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from dosewright.ground.pure.formulas import formula
from printing.core.layout.request import PlacedLine, PlateRules, RaftRules, base_um
from printing.core.layout.timing import TimeCoefficients


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupBound:
    """The bound of one group of lines: plates, and seconds that setup and layers cannot undercut."""

    plates: int
    controllable_s: float


@formula(
    "least_zone_area",
    inputs={
        "count": "discs, 1 or more",
        "diameter_mm": "mm, more than 0",
        "unit_gap_mm": "mm, 0 or more",
        "zone_gap_mm": "mm, at least the unit gap",
        "border_mm": "mm, raft around the discs, 0 or more",
    },
    source="Oler, Acta Math. 105 (1961) 19-48, doi 10.1007/BF02559533, with the isoperimetric inequality",
)
def least_disc_zone_mm2(
    count: int, diameter_mm: float, unit_gap_mm: float, zone_gap_mm: float, border_mm: float = 0.0
) -> float:
    """Return the least area [mm2] of a convex zone of `count` equal discs, grown by half the zone gap.

    Oler: k points at mutual distance s in a convex set of area A and perimeter P satisfy
    ``k <= 2 A / (sqrt(3) s^2) + P / (2 s) + 1``; a set's perimeter is at least that of the disc of its area.
    Valid for rho >= c with s = d + g, rho = (d + z)/2 + border, c = sqrt(3) s / 4, which holds for z >= g.
    """
    step = diameter_mm + unit_gap_mm
    rho = (diameter_mm + zone_gap_mm) / 2 + border_mm
    c = math.sqrt(3) * step / 4
    base = (count - 1) * math.sqrt(3) / 2 * step * step
    least_perimeter = 2 * math.pi * (-c + math.sqrt(c * c + base / math.pi))
    return base + least_perimeter * (rho - c) + math.pi * rho * rho


def least_line_um2(line: PlacedLine, plate: PlateRules, raft: RaftRules) -> int:
    """Return the least grown area of all zones of `line` [um2], rounded down.

    For outlines other than round: units grown by half the unit gap do not overlap and lie within the
    grown zone.
    """
    long, short = max(line.footprint_um) / 1000, min(line.footprint_um) / 1000
    gap, zone_gap = plate.unit_gap_um / 1000, plate.zone_gap_um / 1000
    if line.outline == "round":
        area = least_disc_zone_mm2(line.units, long, gap, zone_gap, raft.border_um / 1000)
    elif line.outline == "stadium":
        area = line.units * (math.pi * (short + gap) ** 2 / 4 + (long - short) * (short + gap))
    else:
        area = line.units * (long * short + (long + short) * gap + math.pi * gap * gap / 4)
    return math.floor(area * 1e6)


def least_plates(areas_um2: Sequence[int], room_um2: int) -> int:
    """Return the least number of plates for zones of these areas: total area and Martello-Toth's L2.

    Source: Martello, Toth, Discrete Applied Mathematics 28 (1990) 59-70, doi 10.1016/0166-218X(90)90094-S.
    Where a line is larger than a plate, and so is split, only the total counts; where none is larger than
    half a plate, L2 is the total.
    """
    total = -(-sum(areas_um2) // room_um2)
    largest = max(areas_um2, default=0)
    if largest > room_um2 or 2 * largest <= room_um2:
        return total
    thresholds = sorted({0, *(area for area in areas_um2 if 2 * area <= room_um2)})
    return max(total, *(_l2(areas_um2, room_um2, threshold) for threshold in thresholds))


def group_bound(lines: Sequence[PlacedLine], plate: PlateRules, raft: RaftRules, time: TimeCoefficients) -> GroupBound:
    """Return the bound for lines that may share plates: setup N(0) + t_layer * sum over layers of N(h).

    N(h) counts the plates that lines taller than h need. Test zones are left out, which keeps it a bound.
    """
    room = (plate.plate_um[0] - 2 * plate.edge_um + plate.zone_gap_um) * (
        plate.plate_um[1] - 2 * plate.edge_um + plate.zone_gap_um
    )
    sized = sorted(((line.layers, least_line_um2(line, plate, raft)) for line in lines), reverse=True)
    base = base_um(raft, lines[0].mount) // lines[0].layer_um
    everything = least_plates([area for _, area in sized], room)
    layers = everything * (base + sized[-1][0])
    for place, (height, _) in enumerate(sized[:-1]):
        lower = sized[place + 1][0]
        if height > lower:
            layers += (height - lower) * least_plates([area for _, area in sized[: place + 1]], room)
    return GroupBound(plates=everything, controllable_s=everything * time.setup_s + layers * time.layer_s)


def _l2(areas: Sequence[int], room: int, threshold: int) -> int:
    big = [area for area in areas if area > room - threshold]
    middle = [area for area in areas if room - threshold >= area and 2 * area > room]
    small = [area for area in areas if 2 * area <= room and area >= threshold]
    left = sum(small) - (len(middle) * room - sum(middle))
    return len(big) + len(middle) + max(0, -(-left // room))
