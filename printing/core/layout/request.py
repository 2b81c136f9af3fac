"""What the planner is asked: lines with sized units, and the rules of plate, raft, test plan, resin and codes.

Lengths are integer micrometres, areas um2, volumes um3 (1 uL = 1 mm3 = 1e9 um3).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Literal

from dosewright.ground.pure.errors import BadInput, Refusal, refuse_if_any
from printing.core.layout.timing import TimeCoefficients

Outline = Literal["round", "stadium", "rectangle"]
Mount = Literal["necks", "sheet"]
Which = Literal["smallest", "largest"]
Where = Literal["corner", "centre", "opposite corner"]

LEAST_UNIT_GAP_UM = 1_000
LEAST_ZONE_GAP_UM = 3_000
LEAST_EDGE_UM = 3_000
LEAST_BORDER_UM = 500
"""Least distances between units, between zones, to the plate's edge, and of raft around a unit (design rule)."""

MAX_PLATE_UM = 1_000_000
MAX_UNITS = 50_000
OUTLINES = ("round", "stadium", "rectangle")
MOUNTS = ("necks", "sheet")


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedLine:
    """One dose line as the planner sees it: how many units of which geometry, and when they must be ready.

    ``footprint_um`` is the unit's bounding rectangle in its print orientation before any rotation on the
    plate, ``outline`` its form seen from above (a stadium is two half circles and a straight piece),
    ``layers`` those of the unit alone. ``section_um2_layers`` is the sum of its section areas and
    ``perimeter_um_layers`` that of its section perimeters over all its layers; ``contact_um2`` the area
    with which it faces the raft, ``held_run_um`` the length along which a ring or a lying body is held from
    below (0 for any other). ``unit_codes`` holds ``count + spares`` codes, placed in this order.
    ``instead_of`` names the zones that a reprint stands in for.
    """

    code: str
    formulation: str
    lot: str
    profile: str
    layer_um: int
    dose_mg: Decimal
    count: int
    spares: int
    unit_codes: tuple[str, ...]
    outline: Outline
    orientation: str
    mount: Mount
    footprint_um: tuple[int, int]
    height_um: int
    layers: int
    volume_um3: int
    section_um2_layers: int
    perimeter_um_layers: int
    contact_um2: int
    held_run_um: int = 0
    ready_by: datetime | None = None
    instead_of: tuple[str, ...] = ()

    @property
    def units(self) -> int:
        """Return how many units are printed: those ordered and the spares."""
        return self.count + self.spares


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateRules:
    """The build plate [um] and the distances kept on it (bench defaults)."""

    plate_um: tuple[int, int]
    build_height_um: int
    unit_gap_um: int = 2_000
    zone_gap_um: int = 5_000
    edge_um: int = 5_000


@dataclass(frozen=True, slots=True, kw_only=True)
class RaftRules:
    """The sacrificial base of a zone [um]; all are site settings, common practice, no source.

    The slab's lower edge is bevelled inwards by ``bevel_um`` at 45 degrees, so that a spatula finds its
    way under it; units on necks stand ``finger_gap_um`` above the slab; the code is raised by
    ``relief_um`` on a tab of ``tab_um``, which keeps ``tab_gap_um`` from every unit.
    """

    border_um: int = 1_500
    tab_um: tuple[int, int] = (14_000, 4_000)
    tab_gap_um: int = 1_000
    slab_um: int = 600
    bevel_um: int = 400
    finger_gap_um: int = 1_000
    relief_um: int = 600
    slenderness_limit: int = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class TestSpot:
    """One entry of a formulation's test plan: units that are for no patient, and where they stand."""

    __test__ = False

    which: Which
    where: Where
    units: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ResinRules:
    """What a plate needs beside its cured volume [uL], and liquid per cured volume (shrinkage, >= 1)."""

    tank_minimum_ul: int
    loss_ul: int
    liquid_per_cured: Decimal = Decimal(1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pools:
    """Codes that a plan takes from the front, in order: of zones, print batches and test units."""

    zone_codes: tuple[str, ...]
    batch_codes: tuple[str, ...]
    test_unit_codes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanRequest:
    """All that a plan depends on; equal requests give equal plans, byte for byte.

    ``zone_codes``, ``batch_codes`` and ``test_unit_codes`` are pools taken from the front.
    ``lot_available_ul`` may name what a resin lot still holds [uL].
    """

    printer: str
    plate: PlateRules
    raft: RaftRules
    time: TimeCoefficients
    resin: ResinRules
    lines: tuple[PlacedLine, ...]
    tests: tuple[TestSpot, ...]
    zone_codes: tuple[str, ...]
    batch_codes: tuple[str, ...]
    test_unit_codes: tuple[str, ...]
    lot_available_ul: Mapping[str, int] = field(default_factory=dict)

    @property
    def pools(self) -> Pools:
        """Return the codes that the plan may take."""
        return Pools(zone_codes=self.zone_codes, batch_codes=self.batch_codes, test_unit_codes=self.test_unit_codes)


def base_um(raft: RaftRules, mount: Mount) -> int:
    """Return the height at which units start [um]: the slab, and on necks the finger gap above it."""
    return raft.slab_um + (raft.finger_gap_um if mount == "necks" else 0)


def check_request(request: PlanRequest) -> None:
    """Refuse a request that cannot be planned as it stands (BadInput with every reason)."""
    found = _plate_faults(request.plate) + _raft_faults(request.raft) + _spot_faults(request.tests)
    if not request.lines:
        found.append(_fault("lines", 0, "a plan needs at least one dose line", accepted="1 or more"))
    if sum(line.units for line in request.lines) > MAX_UNITS:
        found.append(_fault("lines", "", "too many units for one plan", limit=MAX_UNITS))
    for line in request.lines:
        found += _line_faults(line, request)
    found += _repeats("lines.code", [line.code for line in request.lines])
    units = [code for line in request.lines for code in line.unit_codes]
    found += _repeats("unit_codes", units + list(request.test_unit_codes))
    found += _repeats("zone_codes", list(request.zone_codes)) + _repeats("batch_codes", list(request.batch_codes))
    if not request.resin.liquid_per_cured >= 1 or min(request.resin.tank_minimum_ul, request.resin.loss_ul) < 0:
        found.append(_fault("resin", "", "losses are not negative and liquid per cured volume is 1 or more"))
    refuse_if_any(BadInput, found)


def _plate_faults(plate: PlateRules) -> list[Refusal]:
    found = []
    least = (("unit_gap_um", LEAST_UNIT_GAP_UM), ("zone_gap_um", LEAST_ZONE_GAP_UM), ("edge_um", LEAST_EDGE_UM))
    for name, limit in least:
        if getattr(plate, name) < limit:
            found.append(_fault(f"plate.{name}", getattr(plate, name), "smaller than the least gap", limit=limit))
    if plate.zone_gap_um < plate.unit_gap_um:
        found.append(
            _fault(
                "plate.zone_gap_um", plate.zone_gap_um, "smaller than the gap between units", limit=plate.unit_gap_um
            )
        )
    for name, side in zip(("plate_um[0]", "plate_um[1]"), plate.plate_um, strict=True):
        if not 2 * plate.edge_um < side <= MAX_PLATE_UM:
            found.append(_fault(f"plate.{name}", side, "no plate of this size", limit=MAX_PLATE_UM))
    return found


def _raft_faults(raft: RaftRules) -> list[Refusal]:
    found = []
    if raft.border_um < LEAST_BORDER_UM:
        found.append(_fault("raft.border_um", raft.border_um, "smaller than the least border", limit=LEAST_BORDER_UM))
    if not 0 <= raft.bevel_um < min(raft.slab_um, raft.border_um + 1):
        found.append(_fault("raft.bevel_um", raft.bevel_um, "not less than the slab's height and within the border"))
    if min(raft.tab_um[0], raft.tab_um[1], raft.slab_um, raft.finger_gap_um, raft.relief_um, raft.tab_gap_um) <= 0:
        found.append(_fault("raft", "", "every length of a raft is more than 0"))
    return found


def _spot_faults(tests: tuple[TestSpot, ...]) -> list[Refusal]:
    found = [_fault("tests.units", spot.units, "a test zone has at least one unit") for spot in tests if spot.units < 1]
    return found + _repeats("tests.where", [spot.where for spot in tests])


def _line_faults(line: PlacedLine, request: PlanRequest) -> list[Refusal]:
    where = f"lines.{line.code}"
    raft, found = request.raft, []
    if line.count < 1 or line.spares < 0:
        found.append(_fault(f"{where}.count", line.count, "at least one unit and no negative spares"))
    if len(line.unit_codes) != line.units:
        found.append(_fault(f"{where}.unit_codes", len(line.unit_codes), "one code per unit", limit=line.units))
    if line.outline not in OUTLINES or line.mount not in MOUNTS:
        found.append(
            _fault(f"{where}.outline", line.outline, "unknown outline or mount", accepted=", ".join(OUTLINES + MOUNTS))
        )
    if min(line.footprint_um) <= 0 or min(line.volume_um3, line.contact_um2, line.section_um2_layers) <= 0:
        found.append(_fault(f"{where}.footprint_um", line.footprint_um, "footprint, volume and areas are more than 0"))
    if line.outline == "round" and line.footprint_um[0] != line.footprint_um[1]:
        found.append(_fault(f"{where}.footprint_um", line.footprint_um, "a round footprint has two equal sides"))
    if line.layer_um <= 0 or line.layers <= 0 or line.layers * line.layer_um != line.height_um:
        found.append(
            _fault(f"{where}.height_um", line.height_um, "not whole layers", limit=line.layers * line.layer_um)
        )
        return found
    return found + _height_faults(line, request, base_um(raft, line.mount))


def _height_faults(line: PlacedLine, request: PlanRequest, base: int) -> list[Refusal]:
    where, found = f"lines.{line.code}", []
    if base % line.layer_um or request.raft.slab_um % line.layer_um:
        found.append(_fault("raft", base, "slab and finger gap are whole layers", limit=line.layer_um))
    if line.height_um > request.raft.slenderness_limit * min(line.footprint_um):
        found.append(
            _fault(
                f"{where}.height_um",
                line.height_um,
                "too slender to stand without columns (common practice)",
                limit=request.raft.slenderness_limit * min(line.footprint_um),
            )
        )
    if base + line.height_um > request.plate.build_height_um:
        found.append(
            _fault(
                f"{where}.height_um",
                base + line.height_um,
                "higher than the printer builds",
                limit=request.plate.build_height_um,
            )
        )
    return found


def _repeats(name: str, values: list[str]) -> list[Refusal]:
    twice = sorted({value for value in values if values.count(value) > 1}) if len(values) != len(set(values)) else []
    return [_fault(name, value, "given twice") for value in twice]


def _fault(name: str, value: object, message: str, *, limit: object = None, accepted: str | None = None) -> Refusal:
    unit = "um" if name.endswith("_um") else None
    return Refusal(
        field=name,
        message=message,
        value=str(value),
        limit=None if limit is None else str(limit),
        unit=unit,
        accepted=accepted,
        rule="plan-request",
    )
