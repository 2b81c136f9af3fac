"""How long a plate takes: setup, layers, raster and contour apart, with coefficients of printer and profile.

Setup and layer time are what batching and layout can change ("controllable"); raster time follows from the
printed volume, because the section areas of a body add up to its volume over the layer height.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from dosewright.ground.pure.errors import BadInput, Refusal, refuse_if_any
from dosewright.ground.pure.formulas import formula


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeCoefficients:
    """The time model of one printer and profile, fitted to finished runs (until then typed by the site).

    ``setup_s`` per plate [s], ``layer_s`` peel and recoat per layer [s], ``hatch_mm`` line distance [mm],
    ``scan_mm_s`` and ``contour_mm_s`` laser speeds inside and along contours [mm/s], ``contours`` per layer.
    """

    setup_s: float
    layer_s: float
    hatch_mm: float
    scan_mm_s: float
    contours: int
    contour_mm_s: float

    def __post_init__(self) -> None:
        positive = ("layer_s", "hatch_mm", "scan_mm_s", "contour_mm_s")
        found = [_fault(name, getattr(self, name)) for name in positive if not _more_than_zero(getattr(self, name))]
        found += [
            _fault(name, getattr(self, name))
            for name in ("setup_s", "contours")
            if not (math.isfinite(getattr(self, name)) and getattr(self, name) >= 0)
        ]
        refuse_if_any(BadInput, found)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlateSeconds:
    """The four parts of a plate's time [s]."""

    setup: float
    layers: float
    raster: float
    contour: float

    @property
    def controllable(self) -> float:
        """Return what batching and layout decide [s]."""
        return self.setup + self.layers

    @property
    def total(self) -> float:
        """Return the whole time [s]."""
        return self.setup + self.layers + self.raster + self.contour

    def whole(self) -> dict[str, int]:
        """Return the parts in whole seconds, each rounded half up, as the plan's record keeps them."""
        parts = (("setup", self.setup), ("layers", self.layers), ("raster", self.raster), ("contour", self.contour))
        return {name: math.floor(value + 0.5) for name, value in parts}


def plate_seconds(
    coefficients: TimeCoefficients, *, layers: int, section_mm2_layers: float, perimeter_mm_layers: float
) -> PlateSeconds:
    """Return the time of one plate [s].

    ``T = setup + n t_layer + sum(A)/(v h) + c sum(P)/v_c`` with the sums over all layers of everything on
    the plate. Raises BadInput for counts or sums that are negative or not finite.
    Source: science reference section 10.4; AMT chapter 16.
    """
    sums = (("section_mm2_layers", section_mm2_layers), ("perimeter_mm_layers", perimeter_mm_layers))
    found = [_fault(name, value) for name, value in sums if not (math.isfinite(value) and value >= 0)]
    if layers < 1:
        found.append(_fault("layers", layers))
    refuse_if_any(BadInput, found)
    return PlateSeconds(
        setup=coefficients.setup_s,
        layers=layers * coefficients.layer_s,
        raster=section_mm2_layers / (coefficients.scan_mm_s * coefficients.hatch_mm),
        contour=coefficients.contours * perimeter_mm_layers / coefficients.contour_mm_s,
    )


@formula(
    "plate_time",
    inputs={
        "setup_s": "per plate [s], 0 or more",
        "layer_s": "peel and recoat per layer [s], more than 0",
        "hatch_mm": "distance of scan lines [mm], more than 0",
        "scan_mm_s": "laser speed inside [mm/s], more than 0",
        "contours": "contours per layer, 0 or more",
        "contour_mm_s": "laser speed along contours [mm/s], more than 0",
        "layers": "count, 1 or more",
        "section_mm2_layers": "sum of section areas over all layers [mm2], 0 or more",
        "perimeter_mm_layers": "sum of section perimeters over all layers [mm], 0 or more",
    },
    source="Gibson, Rosen, Stucker: Additive Manufacturing Technologies, ch. 16 (scan and recoat time)",
)
def plate_time_s(
    setup_s: float,
    layer_s: float,
    hatch_mm: float,
    scan_mm_s: float,
    contours: int,
    contour_mm_s: float,
    layers: int,
    section_mm2_layers: float,
    perimeter_mm_layers: float,
) -> float:
    """Return the whole time of one plate [s] from plain figures; see `plate_seconds`.

    >>> round(plate_time_s(0, 6, 0.05, 1000, 0, 1, 120, 339.292007 / 0.05, 0), 3)
    855.717
    """
    coefficients = TimeCoefficients(
        setup_s=setup_s,
        layer_s=layer_s,
        hatch_mm=hatch_mm,
        scan_mm_s=scan_mm_s,
        contours=contours,
        contour_mm_s=contour_mm_s,
    )
    sums = {"section_mm2_layers": section_mm2_layers, "perimeter_mm_layers": perimeter_mm_layers}
    return plate_seconds(coefficients, layers=layers, **sums).total


def _more_than_zero(value: float) -> bool:
    return math.isfinite(value) and value > 0


def _fault(name: str, value: float) -> Refusal:
    return Refusal(
        field=name,
        value=str(value),
        message="not a usable figure for the time of a plate",
        accepted="finite, not negative; speeds, hatch and layer time more than 0",
        rule="plate-time",
    )
