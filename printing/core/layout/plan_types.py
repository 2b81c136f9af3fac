"""The plan as a value: plates, zones, units, what they cost, and why they are as they are."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from printing.core.layout.batching import GroupKey
from printing.core.layout.necks import NeckRules
from printing.core.layout.request import PlacedLine, PlateRules, RaftRules, TestSpot
from printing.core.layout.schedule import Slot


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedUnit:
    """One unit: the centre of its footprint from the plate's lower left corner [um], turned counter-clockwise."""

    code: str
    x_um: int
    y_um: int
    rotation_deg: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedZone:
    """One raft: the units of a dose line (or a part of it), or of a test zone, which is for no patient.

    ``line`` is where the units' geometry comes from; for a test zone (``test`` set) it is not whose they are.
    """

    line: PlacedLine
    test: TestSpot | None
    code: str
    part: tuple[int, int]
    polygon_um: tuple[tuple[int, int], ...]
    tab_um: tuple[int, int, int, int]
    tab_rotation_deg: int
    necks: NeckRules | None
    units: tuple[PlannedUnit, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ResinNeed:
    """Liquid resin a plate needs [uL], each part rounded up."""

    units_ul: int
    rafts_ul: int
    necks_ul: int
    loss_ul: int
    tank_minimum_ul: int

    @property
    def used_ul(self) -> int:
        """Return what is gone afterwards."""
        return self.units_ul + self.rafts_ul + self.necks_ul + self.loss_ul

    @property
    def total_ul(self) -> int:
        """Return what must be there, the tank minimum with it."""
        return self.used_ul + self.tank_minimum_ul


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedPlate:
    """One run of a printer: zones in the order in which they are taken off the plate.

    ``times`` says when it is planned to run and to be ready, None where no timetable was asked for.
    """

    batch: str
    printer: str
    key: GroupKey
    rules: PlateRules
    raft: RaftRules
    zones: tuple[PlannedZone, ...]
    layers: int
    base_layers: int
    seconds: dict[str, int]
    resin: ResinNeed
    tallest: str
    ready_by: datetime | None
    times: Slot | None
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedGroup:
    """What a group of lines cost against the bound: plates and controllable seconds, and how it was chosen."""

    key: GroupKey
    plates: int
    bound_plates: int
    controllable_s: int
    bound_controllable_s: int
    total_s: int
    bound_total_s: int
    notes: dict[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The answer to a `PlanRequest` or a `JointRequest`."""

    plates: tuple[PlannedPlate, ...]
    groups: tuple[PlannedGroup, ...]
