"""The delivered plate file is read by two others: every unit holds its dose, and nothing else is a unit."""

from __future__ import annotations

import hashlib
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import pytest
from django.conf import settings

from dosewright.ground.models import Work
from dosewright.ground.work import run
from printing.plates import services
from printing.plates.models import PlateFile, PrintBatch
from printing.plates.queries import batch_facts, size_of_line
from tests.batches import Bench, checked_order, planned, ready
from tests.cast import NOW, Cast
from tests.orders import another_child

pytestmark = pytest.mark.django_db

WITHIN = 0.01
"""Predicted against ordered dose: design.md section 6, (site)."""


@pytest.fixture
def delivered(cast: Cast, at_bench: Bench) -> tuple[str, Path]:
    """One batch of two orders, and its plate file."""
    checked_order(cast)
    checked_order(cast, "4 mg", "2.5 mg", "1.5 mg", patient=another_child(1))
    (batch,) = planned(cast, at_bench)
    ready(cast, batch)
    path = batch_facts(batch, site_id=cast.site.pk).plate_file
    assert path is not None
    return batch, Path(settings.DOSEWRIGHT_HOME) / path


def content_mg(volume_mm3: float, model: dict[str, str]) -> float:
    """The content model with the volume that another program measured (science reference 1.1)."""
    of = {name: float(value) for name, value in model.items()}
    printed_mm3 = (
        volume_mm3
        + of["bleed_mm"] * of["perimeter_layer_mm2"]
        + of["overcure_mm"] * of["facing_mm2"]
        - of["leached_mm"] * of["surface"]
    )
    return of["unit_strength_frac"] * of["density_mg_mm3"] * printed_mm3 * (1 - of["bound_frac"])


def doses_by_unit(cast: Cast, batch: str) -> dict[str, tuple[float, dict[str, str]]]:
    """Return the ordered dose of each unit [mg], and the model terms of its line."""
    facts = batch_facts(batch, site_id=cast.site.pk)
    geometry = {zone["code"]: zone["geometry_of"] for zone in facts.plate["zones"]}
    found = {}
    for zone in facts.zones:
        size = size_of_line(geometry[zone.code], facts.plan)
        model = {**size["unit"]["model"], "surface": size["unit"]["surface_mm2"]}
        for unit in zone.units:
            found[unit.code] = (float(size["ordered_mg"]) / int(size["units_per_dose"]), model)
    return found


def test_lib3mf_finds_every_unit_with_its_dose(cast: Cast, delivered: tuple[str, Path]) -> None:
    import lib3mf

    batch, path = delivered
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    assert reader.GetWarningCount() == 0
    expected = doses_by_unit(cast, batch)
    seen = set()
    items = model.GetBuildItems()
    while items.MoveNext():
        item = items.GetCurrent()
        if item.GetObjectResource().GetType() != lib3mf.ObjectType.Model:
            continue
        code = item.GetPartNumber()
        dose_mg, terms = expected[code]
        found_mg = content_mg(mesh_volume_mm3(item.GetObjectResource()), terms)
        assert abs(found_mg / dose_mg - 1) <= WITHIN
        seen.add(code)
    assert seen == set(expected)


def mesh_volume_mm3(thing: object) -> float:
    """The volume of a lib3mf mesh by the divergence theorem, by hand."""
    points = [tuple(one.Coordinates) for one in thing.GetVertices()]  # type: ignore[attr-defined]
    total = 0.0
    for triangle in thing.GetTriangleIndices():  # type: ignore[attr-defined]
        (ax, ay, az), (bx, by, bz), (cx, cy, cz) = (points[one] for one in triangle.Indices)
        total += ax * (by * cz - bz * cy) - ay * (bx * cz - bz * cx) + az * (bx * cy - by * cx)
    return total / 6


def test_trimesh_finds_closed_units_with_their_dose(cast: Cast, delivered: tuple[str, Path]) -> None:
    import trimesh

    batch, path = delivered
    expected = doses_by_unit(cast, batch)
    scene = trimesh.load_scene(path)
    solids = objects_by_part_number(path)
    assert set(solids) == set(expected)
    for code, (dose_mg, terms) in expected.items():
        solid = scene.geometry[solids[code]]
        assert solid.is_volume
        assert abs(content_mg(solid.volume, terms) / dose_mg - 1) <= WITHIN


def objects_by_part_number(path: Path) -> dict[str, str]:
    """Return the name of the object that each unit of the file is, read from its XML."""
    core = "{http://schemas.microsoft.com/3dmanufacturing/core/2015/02}"
    with zipfile.ZipFile(path) as package:
        model = ElementTree.fromstring(package.read("3D/3dmodel.model"))
    names = {one.get("id"): one.get("name") for one in model.iter(f"{core}object") if one.get("type") == "model"}
    items = {one.get("partnumber"): names.get(one.get("objectid")) for one in model.iter(f"{core}item")}
    return {code: name for code, name in items.items() if code and name}


def test_the_file_lies_whole_in_the_printers_folder_under_its_hash(cast: Cast, delivered: tuple[str, Path]) -> None:
    batch, path = delivered
    facts = batch_facts(batch, site_id=cast.site.pk)
    assert path.parent == Path(settings.DOSEWRIGHT_HOME) / "print-files" / facts.printer
    assert hashlib.sha256(path.read_bytes()).hexdigest() == facts.plate_file_sha256 == path.stem
    assert PlateFile.objects.get().size_bytes == path.stat().st_size
    assert not list(path.parent.glob(".part-*"))


def test_the_highest_point_is_the_planned_number_of_layers(cast: Cast, delivered: tuple[str, Path]) -> None:
    import trimesh

    batch, path = delivered
    facts = batch_facts(batch, site_id=cast.site.pk)
    highest_mm = trimesh.load_scene(path).bounds[1][2]
    assert round(highest_mm * 1000 / facts.layer_um, 6) == facts.layers


def test_delivering_twice_writes_once(cast: Cast, delivered: tuple[str, Path]) -> None:
    row = Work.objects.get(kind="deliver")
    assert run(row.pk, clock=lambda: NOW) is False
    assert PlateFile.objects.count() == 1


def test_a_batch_cancelled_before_delivery_is_not_delivered(cast: Cast, at_bench: Bench) -> None:
    checked_order(cast)
    (batch,) = planned(cast, at_bench)
    services.approve_batch(cast.tomas, batch, at=NOW)
    services.cancel_batch(cast.tomas, batch, reason="not wanted after all", at=NOW)
    row = Work.objects.get(kind="deliver")
    assert run(row.pk, clock=lambda: NOW) is False
    assert not PlateFile.objects.exists()
    assert PrintBatch.objects.get().state == "cancelled"
