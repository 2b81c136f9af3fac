"""What the checker must find on a plan: told from the request by hand, sharing no code with the planner."""

from __future__ import annotations

from printing.core.layout.expected import ExpectedLine, ExpectedPlan, ExpectedPrinter, ExpectedTest
from printing.core.layout.joint_request import JointRequest, LotLines
from printing.core.layout.request import PlacedLine


def expected_plan(request: JointRequest) -> ExpectedPlan:
    """Return what `request` asks for, in the checker's own words."""
    plate, raft = request.lots[0].ways[0].plate, request.raft
    return ExpectedPlan(
        lines=tuple(_line(line) for lot in request.lots for line in lot.lines),
        tests={
            lot.formulation: tuple(ExpectedTest(which=one.which, where=one.where, units=one.units) for one in lot.tests)
            for lot in request.lots
        },
        printers=_printers(request.lots),
        unit_gap_um=plate.unit_gap_um,
        zone_gap_um=plate.zone_gap_um,
        edge_um=plate.edge_um,
        border_um=raft.border_um,
        tab_um=raft.tab_um,
        tab_gap_um=raft.tab_gap_um,
        slab_um=raft.slab_um,
        finger_gap_um=raft.finger_gap_um,
    )


def _printers(lots: tuple[LotLines, ...]) -> tuple[ExpectedPrinter, ...]:
    ways = {way.printer: way for lot in lots for way in lot.ways}
    return tuple(
        ExpectedPrinter(
            code=code,
            plate_um=way.plate.plate_um,
            build_height_um=way.plate.build_height_um,
            profiles={lot.formulation: one.profile for lot in lots for one in lot.ways if one.printer == code},
        )
        for code, way in sorted(ways.items())
    )


def _line(line: PlacedLine) -> ExpectedLine:
    return ExpectedLine(
        code=line.code,
        unit_codes=line.unit_codes,
        formulation=line.formulation,
        lot=line.lot,
        layer_um=line.layer_um,
        dose_mg=line.dose_mg,
        outline=line.outline,
        orientation=line.orientation,
        mount=line.mount,
        footprint_um=line.footprint_um,
        height_um=line.height_um,
        layers=line.layers,
        volume_um3=line.volume_um3,
    )
