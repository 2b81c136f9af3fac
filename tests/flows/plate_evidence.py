"""What the plate file of a batch must hold: every unit, as two foreign libraries measure it, within 1 % of its dose."""

from __future__ import annotations

import hashlib
from typing import Any

from tests.flows.living import Home
from tests.flows.meshes import Solid, by_lib3mf, by_trimesh, content_mg
from tests.flows.way import Way

WITHIN_FRAC = 0.01
SAME_FRAC = 1e-5
"""lib3mf keeps 32-bit coordinates."""


def check_plate_file(home: Home, way: Way) -> None:
    """Every unit object's volume times the model's terms is the ordered dose; no other unit stands in the file."""
    batch = home.tomas.get(f"batch/{way.batch}")
    data = (home.path / batch["plate_file"]).read_bytes()
    assert hashlib.sha256(data).hexdigest() == batch["plate_file_sha256"]
    items = by_lib3mf(data)
    units = {unit["code"]: unit for zone in batch["zones"] for unit in zone["units"]}
    models = {code: solid for code, (kind, solid) in items.items() if kind == "model"}
    assert set(models) == set(units)
    assert {kind for kind, _ in items.values()} == {"model", "solidsupport"}
    assert set(way.zones.values()) | set(way.test_zones) <= set(items) - set(models)
    foreign = by_trimesh(data, batch["plate"])
    assert set(foreign) == set(units)
    terms, strength = _model(home, way)
    for code, unit in units.items():
        ordered_mg = unit["dose_ng"] / 1_000_000
        for solid in (models[code], foreign[code]):
            held_mg = content_mg(solid, terms, resin_strength_mg_g=strength)
            assert abs(held_mg / ordered_mg - 1) <= WITHIN_FRAC, (code, held_mg, ordered_mg)
            assert abs(held_mg * 1_000_000 - unit["predicted_content_ng"]) <= 2000, (code, held_mg, unit)
        _same(models[code], foreign[code])
        assert models[code].centre_um == (unit["x_um"], unit["y_um"])


def check_lines(home: Home, way: Way) -> None:
    """Three lines of 28 doses as they were ordered, each in a zone of its own; 2.25 mg, their mean, nowhere."""
    order = home.rosa.get(f"order/{way.order}")
    doses = {line["dose_mg"]: line for line in order["lines"]}
    assert sorted(doses) == ["1.75", "2", "3"]
    assert [line["administrations"] for line in order["lines"]] == [28, 28, 28]
    assert {line["dose_mg"]: line["times"] for line in order["lines"]} == {
        "3": ["07:00"],
        "2": ["13:00"],
        "1.75": ["19:00"],
    }
    batch = home.tomas.get(f"batch/{way.batch}")
    for zone in batch["zones"]:
        dose_ng = {unit["dose_ng"] for unit in zone["units"]}
        assert len(dose_ng) == 1
        if zone["line"]:
            assert zone["wanted"] == 28
            assert len(zone["units"]) == zone["wanted"] + zone["spares"]
            assert dose_ng == {round(float(way.lines[zone["line"]]) * 1_000_000)}
    assert len(way.zones) == len(way.lines) == 3
    for table, row in home.tables.texts(but=frozenset()):
        assert "2.25 mg" not in row, (table, row[:500])


def _model(home: Home, way: Way) -> tuple[dict[str, Any], float]:
    facts = home.nora.get(f"formulation/{way.bench.formulation}")
    (terms,) = facts["terms"]
    assert (terms["orientation"], terms["mount"]) == ("flat", "necks")
    strength = home.ada.get(f"resin-lot/{way.bench.resin_lot}")["strength"]["mg_g"]
    return terms, float(strength)


def _same(one: Solid, other: Solid) -> None:
    for name in ("volume_mm3", "surface_mm2", "upright_mm2", "lower_mm2"):
        mine, its = getattr(one, name), getattr(other, name)
        assert abs(mine - its) <= SAME_FRAC * its, (name, mine, its)
