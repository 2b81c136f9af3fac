"""Invented lines, requests and what a checker is told about them; plain functions, no randomness of their own."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dosewright.ground.pure.codes import numbered_code
from printing.core.layout.expected import ExpectedLine, ExpectedPlan, ExpectedPrinter, ExpectedTest
from printing.core.layout.request import (
    PlacedLine,
    PlanRequest,
    PlateRules,
    RaftRules,
    ResinRules,
    TestSpot,
)
from printing.core.layout.timing import TimeCoefficients

TIME = TimeCoefficients(setup_s=900.0, layer_s=10.0, hatch_mm=0.05, scan_mm_s=5000.0, contours=1, contour_mm_s=1000.0)
CORNERS = (
    TestSpot(which="smallest", where="corner", units=2),
    TestSpot(which="largest", where="opposite corner", units=2),
)
SEGMENTS = 48


def line(
    number: int,
    *,
    count: int = 14,
    spares: int = 2,
    footprint_um: tuple[int, int] = (6_000, 6_000),
    layers: int = 60,
    layer_um: int = 50,
    outline: str = "round",
    mount: str = "necks",
    **other: Any,
) -> PlacedLine:
    """Return a line whose areas and volumes are those of a straight prism over its footprint."""
    area = footprint_area_um2(outline, footprint_um)
    around = 2 * sum(footprint_um) if outline == "rectangle" else round(math.pi * min(footprint_um))
    facts: dict[str, Any] = {
        "code": numbered_code("dose line", number),
        "formulation": "FM-A",
        "lot": "RN-A",
        "profile": "PF-A",
        "layer_um": layer_um,
        "dose_mg": Decimal(number),
        "count": count,
        "spares": spares,
        "unit_codes": tuple(numbered_code("unit", number * 1000 + k) for k in range(count + spares)),
        "outline": outline,
        "orientation": "flat",
        "mount": mount,
        "footprint_um": footprint_um,
        "height_um": layers * layer_um,
        "layers": layers,
        "volume_um3": area * layers * layer_um,
        "section_um2_layers": area * layers,
        "perimeter_um_layers": around * layers,
        "contact_um2": area,
    }
    return PlacedLine(**(facts | other))


def request(*lines: PlacedLine, **other: Any) -> PlanRequest:
    """Return a request for a 145 x 145 mm plate with two test zones, unless told otherwise."""
    facts: dict[str, Any] = {
        "printer": "PR-A",
        "plate": PlateRules(plate_um=(145_000, 145_000), build_height_um=150_000),
        "raft": RaftRules(),
        "time": TIME,
        "resin": ResinRules(tank_minimum_ul=50_000, loss_ul=3_000),
        "lines": lines,
        "tests": CORNERS,
        "zone_codes": tuple(numbered_code("zone", 7 * k) for k in range(300)),
        "batch_codes": tuple(numbered_code("print batch", k) for k in range(100)),
        "test_unit_codes": tuple(numbered_code("unit", 10**8 + k) for k in range(400)),
    }
    return PlanRequest(**(facts | other))


def expectations(asked: PlanRequest) -> ExpectedPlan:
    """Return what the checker is told, taken from the lines that were ordered and never from a plan."""
    names = ExpectedLine.__dataclass_fields__
    tests = tuple(ExpectedTest(which=one.which, where=one.where, units=one.units) for one in asked.tests)
    return ExpectedPlan(
        lines=tuple(ExpectedLine(**{name: getattr(one, name) for name in names}) for one in asked.lines),
        tests={one.formulation: tests for one in asked.lines},
        printers=(
            ExpectedPrinter(
                code=asked.printer,
                plate_um=asked.plate.plate_um,
                build_height_um=asked.plate.build_height_um,
                profiles={one.formulation: one.profile for one in asked.lines},
            ),
        ),
        unit_gap_um=asked.plate.unit_gap_um,
        zone_gap_um=asked.plate.zone_gap_um,
        edge_um=asked.plate.edge_um,
        border_um=asked.raft.border_um,
        tab_um=asked.raft.tab_um,
        tab_gap_um=asked.raft.tab_gap_um,
        slab_um=asked.raft.slab_um,
        finger_gap_um=asked.raft.finger_gap_um,
    )


def footprint_area_um2(outline: str, footprint_um: tuple[int, int]) -> int:
    """Return the area of a disc, stadium or rectangle."""
    long, short = max(footprint_um), min(footprint_um)
    if outline == "rectangle":
        return long * short
    return round(math.pi * short * short / 4) + (long - short) * short


def prism(one: PlacedLine) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Return a straight prism over the line's footprint [mm], off the origin, so that nobody relies on its frame."""
    width, depth = (side / 1000 for side in one.footprint_um)
    if one.outline == "rectangle":
        rim = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * (width / 2, depth / 2)
    else:
        angles = 2 * np.pi * np.arange(SEGMENTS) / SEGMENTS
        circle = np.column_stack([np.cos(angles), np.sin(angles)]) * min(width, depth) / 2
        reach = np.array([max(width - depth, 0), max(depth - width, 0)]) / 2
        rim = circle + np.sign(np.round(circle, 9)) * reach
    count = len(rim)
    z = np.repeat([0.0, one.height_um / 1000], count)
    points = np.column_stack([np.vstack([rim, rim]), z]) + np.array([30.0, -7.0, 2.0])
    faces = [(0, k + 1, k) for k in range(1, count - 1)]
    faces += [(count, count + k, count + k + 1) for k in range(1, count - 1)]
    for k in range(count):
        after = (k + 1) % count
        faces += [(k, after, count + after), (k, count + after, count + k)]
    return points, np.array(faces)
