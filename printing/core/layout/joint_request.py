"""What is asked of a plan over several resin lots and printers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from printing.core.layout.request import (
    PlacedLine,
    PlanRequest,
    PlateRules,
    Pools,
    RaftRules,
    ResinRules,
    TestSpot,
)
from printing.core.layout.schedule import Day, PrinterNow, Step
from printing.core.layout.timing import TimeCoefficients


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """How one printer prints the lines of a lot: plate, validated profile, time model, resin, what its tank holds."""

    printer: str
    profile: str
    plate: PlateRules
    time: TimeCoefficients
    resin: ResinRules
    in_tank_ul: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class LotLines:
    """The lines of one formulation and resin lot, the printers that may print them, and what follows printing.

    All lines have one layer height and mount; ``profile`` of a line is that of the way it is printed. ``store_ul``
    is what the lot holds outside the printers' tanks [uL]; ``tank_for`` names what a tank must be dedicated to.
    """

    lines: tuple[PlacedLine, ...]
    tests: tuple[TestSpot, ...]
    ways: tuple[Way, ...]
    finishing: tuple[Step, ...]
    store_ul: int
    tank_for: str

    @property
    def formulation(self) -> str:
        """Return the formulation of all lines."""
        return self.lines[0].formulation

    @property
    def lot(self) -> str:
        """Return the resin lot of all lines."""
        return self.lines[0].lot


@dataclass(frozen=True, slots=True, kw_only=True)
class JointRequest:
    """All that a plan over several lots and printers depends on; equal requests give equal plans, byte for byte."""

    lots: tuple[LotLines, ...]
    raft: RaftRules
    printers: tuple[PrinterNow, ...]
    day: Day
    at: datetime
    pools: Pools


def plan_request(lot: LotLines, way: Way, request: JointRequest, lines: Sequence[PlacedLine]) -> PlanRequest:
    """Return what is asked of one printer for some lines of a lot."""
    return PlanRequest(
        printer=way.printer,
        plate=way.plate,
        raft=request.raft,
        time=way.time,
        resin=way.resin,
        lines=tuple(replace(line, profile=way.profile) for line in lines),
        tests=lot.tests,
        zone_codes=request.pools.zone_codes,
        batch_codes=request.pools.batch_codes,
        test_unit_codes=request.pools.test_unit_codes,
    )
