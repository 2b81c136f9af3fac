"""The bound: Oler's equality on hexagons, Martello and Toth's L2, and that no plan undercuts it."""

from __future__ import annotations

import math
from typing import Any

import pytest

from printing.core.layout.bound import least_disc_zone_mm2, least_line_um2, least_plates
from printing.core.layout.plan import make_plan
from printing.core.layout.request import RaftRules
from tests.core.layout.workloads import line, request
from tests.core.vectors import load

OLER: dict[str, Any] = load("layout")["oler_equality"]
L2 = load("layout")["martello_toth"]["cases"]


@pytest.mark.parametrize("side", OLER["side_steps"])
def test_a_hexagon_of_the_lattice_is_just_above_the_bound(side: int) -> None:
    step, gap, zone_gap = OLER["step_mm"], 2.0, 5.0
    count = 3 * side * (side + 1) + 1
    rho = (step - gap + zone_gap) / 2
    area, perimeter = 3 * math.sqrt(3) / 2 * (side * step) ** 2, 6 * side * step
    assert count == pytest.approx(2 * area / (math.sqrt(3) * step**2) + perimeter / (2 * step) + 1)
    real = area + perimeter * rho + math.pi * rho**2
    bound = least_disc_zone_mm2(count, step - gap, gap, zone_gap)
    assert 0.97 * real < bound <= real


def test_one_disc_needs_its_own_grown_disc() -> None:
    assert least_disc_zone_mm2(1, 8.0, 2.0, 5.0) == pytest.approx(math.pi * 6.5**2)


@pytest.mark.parametrize(("areas", "total", "plates"), L2)
def test_large_zones_raise_the_number_of_plates(areas: list[int], total: int, plates: int) -> None:
    assert -(-sum(areas) // 100) == total
    assert least_plates(areas, 100) == plates


@pytest.mark.parametrize("outline", ["round", "stadium", "rectangle"])
@pytest.mark.parametrize("units", [1, 2, 9, 40])
def test_no_zone_of_a_plan_is_below_its_bound(outline: str, units: int) -> None:
    footprint = (6_000, 6_000) if outline == "round" else (9_000, 5_000)
    one = line(1, count=units, spares=0, outline=outline, footprint_um=footprint)
    asked = request(one, tests=())
    (plate,) = make_plan(asked).plates
    (zone,) = plate.zones
    xs, ys = ([corner[axis] for corner in zone.polygon_um] for axis in (0, 1))
    a, b, z = max(xs) - min(xs), max(ys) - min(ys), asked.plate.zone_gap_um
    grown = a * b + (a + b) * z + math.pi * z * z / 4
    assert 0 < least_line_um2(one, asked.plate, RaftRules()) <= grown
