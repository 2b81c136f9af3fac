"""What a printed unit holds: the content model, its process terms and the loss that it may predict."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from dosewright.ground.pure.errors import BadInput, Blocked
from dosewright.ground.pure.formulas import formula
from printing.core.dose.meshes import Mesh, surface_mm2, volume_mm3
from printing.core.dose.sections import MOUNTS, Sections, facing_mm2, sections

LARGEST_LOSS_FRAC = 0.10
"""The depleted-skin term stands for the early, square-root part of a release; beyond a tenth it is not valid
(science reference 1.2: Crank 1975 short-time solution, valid to Mt/Minf of about 0.1-0.2)."""

ORIENTATIONS = ("flat", "upright", "lying", "standing")


@dataclass(frozen=True, slots=True, kw_only=True)
class TermUncertainty:
    """Standard uncertainties of the process terms and the scatter from unit to unit, with degrees of freedom.

    The first six are common to a batch (systematic).  The scatters differ from unit to unit: of the outline
    (one side) [mm], of the height [mm], and of the strength (settling, mixing) as a fraction.  Infinite
    degrees of freedom mean a value known from elsewhere.
    """

    unit_strength_frac: float
    density_mg_mm3: float
    bleed_mm: float
    overcure_mm: float
    leached_mm: float
    bound_frac: float
    outline_scatter_mm: float
    height_scatter_mm: float
    strength_scatter_frac: float
    degrees_of_freedom: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """Process terms from assayed units of one formulation, printed in one orientation and on one mount.

    unit_strength_frac: mg drug per mg of washed, dried unit, 0 to 1.  density_mg_mm3: unit mass per printed
    volume [mg/mm3] > 0.  bleed_mm: growth of the outline, one side [mm], may be negative.  overcure_mm: growth
    towards the plate [mm] >= 0.  leached_mm: depth of the depleted skin [mm] >= 0.  bound_frac: share of the
    drug that cannot be released, 0 to less than 1.  Raises BadInput outside these ranges.
    """

    unit_strength_frac: float
    density_mg_mm3: float
    bleed_mm: float
    overcure_mm: float
    leached_mm: float
    bound_frac: float
    orientation: str
    mount: str
    uncertainty: TermUncertainty | None = None

    def __post_init__(self) -> None:
        _within("unit_strength_frac", self.unit_strength_frac, 0.0, 1.0, open_low=True)
        _within("density_mg_mm3", self.density_mg_mm3, 0.0, 25.0, unit="mg/mm3", open_low=True)
        _within("bleed_mm", self.bleed_mm, -1.0, 1.0, unit="mm")
        _within("overcure_mm", self.overcure_mm, 0.0, 1.0, unit="mm")
        _within("leached_mm", self.leached_mm, 0.0, 1.0, unit="mm")
        _within("bound_frac", self.bound_frac, 0.0, 1.0, open_high=True)
        _one_of("orientation", self.orientation, ORIENTATIONS)
        _one_of("mount", self.mount, MOUNTS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Geometry:
    """What the content model needs to know of a drawn unit."""

    slice_volume_mm3: float
    perimeter_layer_mm2: float
    facing_mm2: float
    surface_mm2: float
    mesh_volume_mm3: float
    section_mm2: float
    """Mean section area: how much volume one millimetre of height adds."""


def unit_strength_frac(resin_strength_mg_g: float, transfer_factor: float) -> float:
    """Return the unit strength [mg drug per mg unit] from the resin lot's strength.

    resin_strength_mg_g: mg drug per g liquid, more than 0.  transfer_factor: assayed ratio of unit strength to
    resin strength, more than 0 (above 1 where solvent evaporates, below 1 where drug washes out).
    Raises BadInput when either is not positive or the product is not below 1.
    Source: design.md section 6; example 100 mg/g drying to 125 mg/g, science reference 1.2.

    >>> unit_strength_frac(100.0, 1.25)
    0.125
    """
    _within("resin_strength_mg_g", resin_strength_mg_g, 0.0, 1000.0, unit="mg/g", open_low=True, open_high=True)
    _within("transfer_factor", transfer_factor, 0.0, 10.0, open_low=True)
    strength = resin_strength_mg_g / 1000.0 * transfer_factor
    _within("unit_strength_frac", strength, 0.0, 1.0, open_low=True, open_high=True)
    return strength


@formula(
    "leached_depth",
    inputs={
        "diffusivity_m2_s": "diffusivity of the drug in the green unit [m2/s], 0 or more",
        "wash_s": "wash time [s], 0 or more",
    },
    source="Crank, The Mathematics of Diffusion, 2nd ed. 1975, short-time solution; an upper bound, calibrate by assay",
)
def leached_depth_mm(diffusivity_m2_s: float, wash_s: float) -> float:
    """Return the equivalent depleted skin depth 2 sqrt(D t / pi) [mm], an upper bound (perfect sink)."""
    _within("diffusivity_m2_s", diffusivity_m2_s, 0.0, 1.0, unit="m2/s")
    _within("wash_s", wash_s, 0.0, 1e9, unit="s")
    return 2_000.0 * math.sqrt(diffusivity_m2_s * wash_s / math.pi)


def measure(mesh: Mesh, cut: Sections, mount: str) -> Geometry:
    """Return the geometry of a drawn mesh, its volume from the sections that will be printed."""
    return Geometry(
        slice_volume_mm3=cut.volume_mm3,
        perimeter_layer_mm2=cut.perimeter_layer_mm2,
        facing_mm2=facing_mm2(mesh, mount),
        surface_mm2=surface_mm2(mesh),
        mesh_volume_mm3=volume_mm3(mesh),
        section_mm2=cut.volume_mm3 / (cut.layers * cut.layer_um / 1_000),
    )


def measure_mesh(mesh: Mesh, layer_um: int, mount: str) -> Geometry:
    """Return the geometry of a drawn mesh at one layer height [um]."""
    return measure(mesh, sections(mesh, layer_um), mount)


def printed_volume_mm3(terms: Terms, geometry: Geometry) -> float:
    """Return the volume that cures [mm3]: the layers, their bleed and the over-cure towards the plate."""
    return (
        geometry.slice_volume_mm3
        + terms.bleed_mm * geometry.perimeter_layer_mm2
        + terms.overcure_mm * geometry.facing_mm2
    )


def mass_mg(terms: Terms, geometry: Geometry) -> float:
    """Return the predicted mass of the washed, dried unit [mg].

    The depleted skin keeps its mass but for the drug that left it, which a balance does not see.
    """
    return terms.density_mg_mm3 * printed_volume_mm3(terms, geometry)


def loss_frac(terms: Terms, geometry: Geometry) -> float:
    """Return the predicted loss to the wash as a fraction of the printed volume (infinite when nothing prints)."""
    volume = printed_volume_mm3(terms, geometry)
    return terms.leached_mm * geometry.surface_mm2 / volume if volume > 0 else math.inf


@formula(
    "unit_content",
    inputs={
        "unit_strength_frac": "mg drug per mg of washed, dried unit, 0 to 1",
        "density_mg_mm3": "unit mass per printed volume [mg/mm3], more than 0",
        "slice_volume_mm3": "sum of layer areas times layer height [mm3]",
        "bleed_mm": "growth of the outline, one side [mm]",
        "perimeter_layer_mm2": "sum of layer outlines times layer height [mm2]",
        "overcure_mm": "growth towards the plate [mm], 0 or more",
        "facing_mm2": "projected area that looks at the plate with resin above it [mm2]",
        "leached_mm": "depth of the depleted skin [mm], 0 or more",
        "surface_mm2": "surface of the unit [mm2]",
        "bound_frac": "share of the drug that cannot be released, 0 to less than 1",
    },
    source="Derived content model (science reference 1.1, 1.2, 1.4): calibrate on assayed units of three or more sizes",
)
def unit_content(
    *,
    unit_strength_frac: float,
    density_mg_mm3: float,
    slice_volume_mm3: float,
    bleed_mm: float,
    perimeter_layer_mm2: float,
    overcure_mm: float,
    facing_mm2: float,
    leached_mm: float,
    surface_mm2: float,
    bound_frac: float,
) -> float:
    """Return the content [mg] of the model, without asking whether its loss term is valid."""
    kept = slice_volume_mm3 + bleed_mm * perimeter_layer_mm2 + overcure_mm * facing_mm2 - leached_mm * surface_mm2
    return unit_strength_frac * density_mg_mm3 * kept * (1.0 - bound_frac)


def unchecked_content_mg(terms: Terms, geometry: Geometry) -> float:
    """Return what the model says [mg] even where it is not valid; for searching only."""
    return unit_content(
        unit_strength_frac=terms.unit_strength_frac,
        density_mg_mm3=terms.density_mg_mm3,
        slice_volume_mm3=geometry.slice_volume_mm3,
        bleed_mm=terms.bleed_mm,
        perimeter_layer_mm2=geometry.perimeter_layer_mm2,
        overcure_mm=terms.overcure_mm,
        facing_mm2=geometry.facing_mm2,
        leached_mm=terms.leached_mm,
        surface_mm2=geometry.surface_mm2,
        bound_frac=terms.bound_frac,
    )


def content_mg(terms: Terms, geometry: Geometry) -> float:
    """Return the drug content of a unit [mg].

    content = unit strength x density x (slice volume + bleed x perimeter_layer + over-cure x facing
    - leached x surface) x (1 - bound).
    Raises Blocked when the predicted loss is over 10 % of the printed volume.
    Source: design.md section 6; science reference 1.1, 1.2 and 1.4 (first order in bleed).
    """
    loss = loss_frac(terms, geometry)
    if loss > LARGEST_LOSS_FRAC:
        raise Blocked.because(
            "leached_mm",
            "so much of the drug would be lost to the wash that the loss cannot be predicted",
            value=f"{loss:.4f}",
            limit=str(LARGEST_LOSS_FRAC),
            unit="fraction of the printed volume",
            accepted="a larger unit or a shorter wash",
            rule="predicted-loss",
        )
    return unchecked_content_mg(terms, geometry)


def _within(
    field: str,
    value: float,
    low: float,
    high: float,
    *,
    unit: str | None = None,
    open_low: bool = False,
    open_high: bool = False,
) -> None:
    inside = math.isfinite(value) and low <= value <= high
    if inside and not (open_low and value == low) and not (open_high and value == high):
        return
    accepted = f"{'more than' if open_low else 'from'} {low:g} {'to less than' if open_high else 'to'} {high:g}"
    raise BadInput.because(field, "is outside its range", value=str(value), unit=unit, accepted=accepted)


def _one_of(field: str, value: str, accepted: tuple[str, ...]) -> None:
    if value not in accepted:
        raise BadInput.because(field, "is not known", value=value, accepted=", ".join(accepted))
