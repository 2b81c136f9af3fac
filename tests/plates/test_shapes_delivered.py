"""A ring, a lying capsule-shaped unit and mini-units go from order to plate file, and hold their dose there."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
import trimesh
from django.conf import settings

from printing.core.dose.shapes import SHAPES
from printing.formulary.content import FormulationSpec
from printing.plates.queries import batch_facts, size_of_line
from printing.plates.sizes import mesh_of
from tests.batches import LONG_AGO, Bench, bench_printer, checked_order, planned, ready
from tests.cast import NOW, Cast, approved_resin_lot, demo_formulation, ready_bench, validated_formulation
from tests.plates.test_delivery import content_mg, objects_by_part_number

pytestmark = pytest.mark.django_db

WAYS: dict[str, dict[str, Any]] = {
    "ring": {"rule": "fixed_tube", "orientation": "flat", "fixed_tube_mm": Decimal("2.5")},
    "capsule-shaped": {"rule": "fixed_height", "orientation": "lying", "fixed_height_mm": Decimal(4)},
    "mini-units": {"rule": "uniform", "orientation": "flat", "aspect_frac": Decimal("0.8")},
}
DOSES = {"ring": ("3 mg", "5 mg"), "capsule-shaped": ("4 mg", "6 mg"), "mini-units": ("3 mg",)}
FEW_DAYS = 3


def spec_of(shape: str) -> FormulationSpec:
    """Return the demo's formulation as if its units had this shape and its coupons had been printed so (invented)."""
    spec, way = demo_formulation(), WAYS[shape]
    lengths = SHAPES[shape, way["orientation"]].lengths
    chosen = replace(
        spec.ranges[0],
        **({"aspect_frac": None, "shape": shape} | way),
        dose_min_mg=Decimal("0.3") if shape == "mini-units" else Decimal(2),
        dose_max_mg=Decimal("0.6") if shape == "mini-units" else Decimal(6),
        size_mm={name: (Decimal("0.5"), Decimal(20)) for name in lengths},
        surface_to_volume_mm=(Decimal("0.5"), Decimal(5)),
    )
    sizes = [{"target_mg": Decimal(one), "units": 10} for one in ("0.3", "2", "6")]
    result = {"orientation": way["orientation"], "mount": "necks", "sizes": sizes}
    assayed = replace(spec.studies[0], result=result)
    terms = replace(spec.terms[0], orientation=way["orientation"])
    return replace(spec, ranges=(chosen,), terms=(terms,), studies=(assayed, *spec.studies[1:]))


def bench_for(cast: Cast, shape: str) -> Bench:
    """Return a bench whose formulation makes units of this shape."""
    made_at = NOW - LONG_AGO
    code = validated_formulation(cast, spec=spec_of(shape), at=made_at)
    stock = ready_bench(cast, code, at=made_at)
    return Bench(
        formulation=code,
        lot=approved_resin_lot(cast, stock, at=made_at),
        printer=bench_printer(cast, tank=stock.tank),
        tank=stock.tank,
        balance=stock.fine,
    )


@pytest.mark.parametrize("shape", WAYS)
def test_a_shape_goes_from_order_to_plate_file_with_its_dose(cast: Cast, shape: str) -> None:
    one = bench_for(cast, shape)
    steps = [
        {"dose": dose, "times": [at], "start_date": "2026-03-10", "days": FEW_DAYS}
        for dose, at in zip(DOSES[shape], ("07:00", "13:00"), strict=False)
    ]
    checked_order(cast, regimen={"steps": steps})
    (batch,) = planned(cast, one)
    ready(cast, batch)
    facts = batch_facts(batch, site_id=cast.site.pk)
    path = Path(settings.DOSEWRIGHT_HOME) / str(facts.plate_file)
    scene, names = trimesh.load_scene(path), objects_by_part_number(path)
    geometry = {zone["code"]: zone["geometry_of"] for zone in facts.plate["zones"]}
    looked_at: set[str] = set()
    for zone in facts.zones:
        size = size_of_line(geometry[zone.code], facts.plan)
        assert size["design"]["shape"] == shape
        body = scene.geometry[names[zone.units[0].code]]
        assert body.is_volume
        model = {**size["unit"]["model"], "surface": size["unit"]["surface_mm2"]}
        found_mg = int(size["units_per_dose"]) * content_mg(body.volume, model)
        assert abs(found_mg / float(size["ordered_mg"]) - 1) <= 0.01  # design.md section 6, (site)
        assert body.volume == pytest.approx(float(size["unit"]["mesh_volume_mm3"]), rel=1e-6)
        assert mesh_of(size).extent_mm[2] == pytest.approx(body.extents[2], abs=1e-5)
        assert body.euler_number == (0 if shape == "ring" else 2)
        assert (int(size["units_per_dose"]) > 4) == (shape == "mini-units")
        looked_at |= {unit.code for unit in zone.units}
    assert looked_at == set(names)
