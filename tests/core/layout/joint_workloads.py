"""Invented requests over several lots and printers, and what a checker is told about them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from dosewright.ground.pure.codes import numbered_code
from printing.core.layout.expected import ExpectedLine, ExpectedPlan, ExpectedPrinter, ExpectedTest
from printing.core.layout.hours import Hours
from printing.core.layout.joint_request import JointRequest, LotLines, Way
from printing.core.layout.request import PlacedLine, PlateRules, Pools, RaftRules, ResinRules
from printing.core.layout.schedule import Day, PrinterNow, Step
from tests.core.layout.workloads import CORNERS, TIME

MONDAY = datetime(2030, 1, 7, 8, tzinfo=UTC)
WEEKDAYS = Hours(zone=UTC, opens_min=7 * 60, closes_min=18 * 60, days=frozenset({1, 2, 3, 4, 5}))
FINISHING = (
    Step(name="wash", seconds=600, manner="held", place="bath"),
    Step(name="dry", seconds=3_600, manner="held", place="oven"),
    Step(name="cure", seconds=1_800, manner="held", place="cure box"),
)
POOLS = Pools(
    zone_codes=tuple(numbered_code("zone", 7 * k) for k in range(600)),
    batch_codes=tuple(numbered_code("print batch", k) for k in range(100)),
    test_unit_codes=tuple(numbered_code("unit", 10**8 + k) for k in range(600)),
)


def way(printer: str, *, side_um: int = 145_000, profile: str = "PF-A", **other: Any) -> Way:
    """Return a printer with a square plate."""
    facts: dict[str, Any] = {
        "printer": printer,
        "profile": profile,
        "plate": PlateRules(plate_um=(side_um, side_um), build_height_um=150_000),
        "time": TIME,
        "resin": ResinRules(tank_minimum_ul=50_000, loss_ul=3_000),
    }
    return Way(**(facts | other))


def lot(*lines: PlacedLine, ways: tuple[Way, ...], store_ul: int = 10**9, **other: Any) -> LotLines:
    """Return the lines of one lot with usual finishing."""
    facts: dict[str, Any] = {"tests": CORNERS, "finishing": FINISHING, "tank_for": lines[0].formulation}
    return LotLines(lines=lines, ways=ways, store_ul=store_ul, **(facts | other))


def joint(*lots: LotLines, **other: Any) -> JointRequest:
    """Return a request on a Monday morning, every printer free and without resin."""
    codes = sorted({one.printer for part in lots for one in part.ways})
    facts: dict[str, Any] = {
        "raft": RaftRules(),
        "printers": tuple(PrinterNow(code=code, free_at=MONDAY) for code in codes),
        "day": Day(hours=WEEKDAYS, places={"bench": 2}),
        "at": MONDAY,
        "pools": POOLS,
    }
    return JointRequest(lots=lots, **(facts | other))


def in_days(days: float) -> datetime:
    """Return a time so many days after the Monday morning."""
    return MONDAY + timedelta(days=days)


def joint_expectations(asked: JointRequest) -> ExpectedPlan:
    """Return what the checker is told, taken from what was ordered and never from a plan."""
    names = ExpectedLine.__dataclass_fields__
    plate = asked.lots[0].ways[0].plate
    ways = {one.printer: one for part in asked.lots for one in part.ways}
    return ExpectedPlan(
        lines=tuple(
            ExpectedLine(**{name: getattr(one, name) for name in names}) for part in asked.lots for one in part.lines
        ),
        tests={
            part.formulation: tuple(ExpectedTest(which=t.which, where=t.where, units=t.units) for t in part.tests)
            for part in asked.lots
        },
        printers=tuple(
            ExpectedPrinter(
                code=code,
                plate_um=one.plate.plate_um,
                build_height_um=one.plate.build_height_um,
                profiles={part.formulation: w.profile for part in asked.lots for w in part.ways if w.printer == code},
            )
            for code, one in ways.items()
        ),
        unit_gap_um=plate.unit_gap_um,
        zone_gap_um=plate.zone_gap_um,
        edge_um=plate.edge_um,
        border_um=asked.raft.border_um,
        tab_um=asked.raft.tab_um,
        tab_gap_um=asked.raft.tab_gap_um,
        slab_um=asked.raft.slab_um,
        finger_gap_um=asked.raft.finger_gap_um,
    )
