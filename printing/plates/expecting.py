"""What the checker must find on a plan: told from the request by hand, sharing no code with the planner."""

from __future__ import annotations

from printing.core.layout.expected import ExpectedLine, ExpectedPlan, ExpectedTest
from printing.core.layout.request import PlanRequest


def expected_plan(request: PlanRequest) -> ExpectedPlan:
    """Return what `request` asks for, in the checker's own words."""
    plate, raft = request.plate, request.raft
    return ExpectedPlan(
        lines=tuple(
            ExpectedLine(
                code=line.code,
                unit_codes=line.unit_codes,
                formulation=line.formulation,
                lot=line.lot,
                profile=line.profile,
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
            for line in request.lines
        ),
        tests=tuple(ExpectedTest(which=one.which, where=one.where, units=one.units) for one in request.tests),
        printer=request.printer,
        plate_um=plate.plate_um,
        build_height_um=plate.build_height_um,
        unit_gap_um=plate.unit_gap_um,
        zone_gap_um=plate.zone_gap_um,
        edge_um=plate.edge_um,
        border_um=raft.border_um,
        tab_um=raft.tab_um,
        tab_gap_um=raft.tab_gap_um,
        slab_um=raft.slab_um,
        finger_gap_um=raft.finger_gap_um,
    )
