"""Plate time: S-63 and S-64, and refusals."""

from __future__ import annotations

import doctest
import inspect
import math
from typing import Any

import pytest

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.formulas import FORMULAS
from printing.core.layout import timing
from printing.core.layout.timing import PlateSeconds, TimeCoefficients, plate_seconds
from tests.core.layout.workloads import TIME
from tests.core.vectors import load

CYLINDER: dict[str, Any] = load("print_time")["cylinder"]
CAPSULE: dict[str, Any] = load("print_time")["capsule"]


def _cylinder(units: int, layers: int) -> PlateSeconds:
    names = ("layer_s", "hatch_mm", "scan_mm_s", "contours", "contour_mm_s")
    coefficients = TimeCoefficients(setup_s=0.0, **{name: CYLINDER[name] for name in names})
    radius = CYLINDER["radius_mm"]
    return plate_seconds(
        coefficients,
        layers=layers,
        section_mm2_layers=units * layers * math.pi * radius**2,
        perimeter_mm_layers=units * layers * 2 * math.pi * radius,
    )


@pytest.mark.parametrize(("units", "layers", "minutes"), CYLINDER["minutes"])
def test_minutes_of_a_cylinder(units: int, layers: int, minutes: float) -> None:
    assert _cylinder(units, layers).total / 60 == pytest.approx(minutes, rel=CYLINDER["rtol"])


def test_the_parts_of_a_cylinder_stand_apart() -> None:
    parts = _cylinder(1, 103)
    assert parts.raster / 103 == pytest.approx(CYLINDER["raster_s_per_layer"], rel=1e-6)
    assert parts.contour / 103 == pytest.approx(CYLINDER["contour_s_per_layer"], rel=1e-5)
    assert parts.layers == 103 * 6
    assert parts.total == parts.controllable + parts.raster + parts.contour


@pytest.mark.parametrize("way", ["vertical", "horizontal"])
@pytest.mark.parametrize("units", [1, 20])
def test_raster_time_does_not_depend_on_the_orientation(way: str, units: int) -> None:
    layers, one, twenty = CAPSULE[way]
    coefficients = TimeCoefficients(
        setup_s=0.0,
        layer_s=CAPSULE["layer_s"],
        hatch_mm=CAPSULE["hatch_mm"],
        scan_mm_s=CAPSULE["scan_mm_s"],
        contours=0,
        contour_mm_s=1.0,
    )
    area = units * CAPSULE["volume_mm3"] / CAPSULE["layer_mm"]
    parts = plate_seconds(coefficients, layers=layers, section_mm2_layers=area, perimeter_mm_layers=0.0)
    assert parts.raster == pytest.approx(units * CAPSULE["raster_s"], rel=CAPSULE["rtol_raster"])
    assert parts.total == pytest.approx(one if units == 1 else twenty, rel=CAPSULE["rtol_total"])


def test_whole_seconds_round_half_up() -> None:
    parts = PlateSeconds(setup=0.5, layers=1.49, raster=2.5, contour=0.0)
    assert parts.whole() == {"setup": 1, "layers": 1, "raster": 3, "contour": 0}


@pytest.mark.parametrize(
    "wrong",
    [{"layers": 0}, {"section_mm2_layers": -1.0}, {"section_mm2_layers": math.nan}, {"perimeter_mm_layers": math.inf}],
)
def test_refuses_sums_that_are_none(wrong: dict[str, Any]) -> None:
    facts: dict[str, Any] = {"layers": 10, "section_mm2_layers": 1.0, "perimeter_mm_layers": 1.0}
    with pytest.raises(BadInput) as caught:
        plate_seconds(TIME, **(facts | wrong))
    assert caught.value.refusals[0].field == next(iter(wrong))


@pytest.mark.parametrize("name", ["layer_s", "hatch_mm", "scan_mm_s", "contour_mm_s"])
@pytest.mark.parametrize("value", [0.0, -1.0, math.nan, math.inf])
def test_refuses_speeds_that_are_none(name: str, value: float) -> None:
    facts: dict[str, Any] = {
        "setup_s": 0.0, "layer_s": 1.0, "hatch_mm": 1.0, "scan_mm_s": 1.0, "contours": 1, "contour_mm_s": 1.0
    }  # fmt: skip
    with pytest.raises(BadInput):
        TimeCoefficients(**(facts | {name: value}))


def test_the_formulas_of_the_layout_name_their_inputs_and_their_example_holds() -> None:
    for name in ("plate_time", "spares", "least_zone_area"):
        registered = FORMULAS[name]
        assert list(registered.inputs) == list(inspect.signature(registered.function).parameters)
        assert registered.source
    result = doctest.testmod(timing)
    assert (result.attempted, result.failed) == (1, 0)
