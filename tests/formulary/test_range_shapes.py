"""A range names shape, rule and lengths that fit together; every range of every shape is sized as its contract says."""

from __future__ import annotations

import json
from dataclasses import fields, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
import trimesh

from dosewright.ground.pure.errors import BadInput
from printing.core.dose.shapes import SHAPES
from printing.formulary.content import FormulationFacts, FormulationSpec, RangeFacts, TermsFacts
from printing.formulary.contracts import KEPT, formulation_contract, size_contract
from printing.formulary.curves import dose_curve
from printing.formulary.designs import Way, size_order_dose
from printing.formulary.intake.toml_text import read_formulation
from printing.formulary.range_rules import KEPT_BY_RULE, range_faults
from printing.plates.files.unit_stl import unit_stl
from tests.core.dose.shape_cases import EVERY_WAY, HEIGHTS_MM, aspect_frac

FIXTURES = Path(__file__).parent.parent.parent / "fixtures"
TEXT = (FIXTURES / "formulations" / "hydrocortisone-tablet.toml").read_text(encoding="utf-8")
SPEC = read_formulation(TEXT)
SCHEMA = json.loads((FIXTURES / "contracts" / "size.schema.json").read_text(encoding="utf-8"))
KEPT_VALUES = {"fixed_section_mm": "5", "fixed_tube_mm": "2.5"}


def _range(number: int, shape: str, orientation: str, rule: str, **changes: Any) -> RangeFacts:
    values = KEPT_VALUES | {
        "aspect_frac": str(aspect_frac(shape, orientation)),
        "fixed_height_mm": str(HEIGHTS_MM[orientation] / 2 if orientation == "flat" else HEIGHTS_MM[orientation]),
    }
    kept = dict.fromkeys(KEPT) | {KEPT_BY_RULE[rule]: Decimal(values[KEPT_BY_RULE[rule]])}
    if shape == "biconvex":
        kept["cap_radius_frac"] = Decimal("1.1")
    mini = shape == "mini-units"
    facts: dict[str, Any] = {
        "number": number,
        "shape": shape,
        "rule": rule,
        "orientation": orientation,
        "mount": "necks",
        "dose_min_mg": Decimal("0.2") if mini else Decimal(1),
        "dose_max_mg": Decimal("0.6") if mini else Decimal(9),
        "layer_um": (50,),
        "size_mm": {name: (Decimal("0.1"), Decimal(20)) for name in SHAPES[shape, orientation].lengths},
        "surface_to_volume_mm": (Decimal("0.1"), Decimal(9)),
        "is_default": number == 1,
        "study": "release",
    }
    return RangeFacts(**(facts | kept | changes))


RANGES = tuple(_range(number, *way[:2], way[2]) for number, way in enumerate(EVERY_WAY, start=1))


def _terms(orientation: str) -> TermsFacts:
    return replace(SPEC.terms[0], orientation=orientation)


def _facts() -> FormulationFacts:
    spec = {one.name: getattr(SPEC, one.name) for one in fields(FormulationSpec)}
    spec["ranges"] = RANGES
    spec["terms"] = tuple(_terms(one) for one in HEIGHTS_MM)
    return FormulationFacts(
        **spec,
        code="FM-EVERY",
        number=1,
        state="validated",
        version=1,
        narrow_index=False,
        orderable_step_mg=Decimal("0.1"),
        controlled=False,
        hazardous=False,
    )


FACTS = _facts()
DOSES = {
    ("ring", "flat"): "4",
    ("mini-units", "flat"): "4",
    ("capsule-shaped", "lying"): "7.5",
    ("capsule-shaped", "standing"): "5",
}


def _asked(one: RangeFacts) -> tuple[Decimal, Way]:
    way = Way(shape=one.shape, rule=one.rule, orientation=one.orientation, mount=one.mount)
    return Decimal(DOSES.get((one.shape, one.orientation), "3")), way


NO_MINI_UNITS = {("mini-units", "fixed_height"), ("mini-units", "fixed_section")}
SIZED = [one for one in RANGES if (one.shape, one.rule) not in NO_MINI_UNITS]
"""A mini-unit 2 mm high or 5 mm wide would be none."""


@pytest.mark.parametrize("one", SIZED, ids=lambda one: f"{one.shape}-{one.orientation}-{one.rule}")
def test_every_range_is_sized_as_the_contract_says(one: RangeFacts) -> None:
    dose, way = _asked(one)
    sized = size_order_dose(FACTS, dose_mg=dose, way=way)
    document = size_contract(sized)
    jsonschema.Draft202012Validator(SCHEMA).validate(json.loads(json.dumps(document, allow_nan=False)))
    unit, model = document["unit"], document["unit"]["model"]
    kept_mm3 = (
        model["slice_volume_mm3"]
        + model["bleed_mm"] * model["perimeter_layer_mm2"]
        + model["overcure_mm"] * model["facing_mm2"]
        - model["leached_mm"] * unit["surface_mm2"]
    )
    content_mg = model["unit_strength_frac"] * model["density_mg_mm3"] * kept_mm3 * (1 - model["bound_frac"])
    assert unit["content_mg"] == pytest.approx(content_mg, rel=1e-9)
    assert document["deviation_frac"] == pytest.approx(sized.units_per_dose * content_mg / float(dose) - 1, abs=1e-9)
    assert abs(document["deviation_frac"]) <= (0.02 if one.rule == "fixed_section" else 1e-6)
    assert (sized.units_per_dose > 4) == (one.shape == "mini-units")
    body = trimesh.load(trimesh.util.wrap_as_stream(unit_stl(sized.unit.mesh)), file_type="stl")
    assert body.is_volume
    # Binary STL holds 32-bit floats.
    assert body.volume == pytest.approx(unit["mesh_volume_mm3"], rel=20 * float(np.finfo(np.float32).eps))
    assert body.extents[2] == pytest.approx(unit["layers"] * 0.05, rel=1e-6)
    # The middles of whole layers overstate a round underside, most so that of a thin ring (science reference 2.2).
    assert abs(body.volume / model["slice_volume_mm3"] - 1) < 1.5e-3


def test_the_formulation_document_says_what_each_range_keeps() -> None:
    document = formulation_contract(FACTS)
    for one, shown in zip(RANGES, document["ranges"], strict=True):
        assert {name: shown[name] for name in KEPT} == {
            name: None if getattr(one, name) is None else float(getattr(one, name)) for name in KEPT
        }
    curve = dose_curve(FACTS, RANGES[0])
    assert curve is not None
    assert curve.points[1].dose_mg == 1.0
    assert curve.points[-2].dose_mg == 9.0


@pytest.mark.parametrize("one", RANGES, ids=lambda one: f"{one.shape}-{one.orientation}-{one.rule}")
def test_a_range_that_fits_together_has_no_fault(one: RangeFacts) -> None:
    assert list(range_faults(one)) == []


DISC = ("disc", "flat", "uniform")
RING = ("ring", "flat", "fixed_tube")
CUP = ("biconvex", "flat", "uniform")
FAULTS: list[tuple[tuple[str, str, str], dict[str, Any], str]] = [
    (DISC, {"aspect_frac": None}, "aspect_frac"),
    (DISC, {"aspect_frac": Decimal(11)}, "aspect_frac"),
    (DISC, {"fixed_section_mm": Decimal(5)}, "fixed_section_mm"),
    (DISC, {"cap_radius_frac": Decimal(1)}, "cap_radius_frac"),
    (DISC, {"shape": "cube"}, "shape"),
    (DISC, {"orientation": "lying"}, "orientation"),
    (DISC, {"rule": "fixed_tube", "aspect_frac": None, "fixed_tube_mm": Decimal("2.5")}, "rule"),
    (DISC, {"size_mm": {"diameter": (Decimal(1), Decimal(9))}}, "size_mm"),
    (RING, {"size_mm": {"diameter": (Decimal(1), Decimal(9)), "height": (Decimal(1), Decimal(9))}}, "size_mm"),
    (RING, {"fixed_tube_mm": None}, "fixed_tube_mm"),
    (RING, {"fixed_tube_mm": Decimal("2.52")}, "fixed_tube_mm"),
    (RING, {"mount": "sheet"}, "mount"),
    (RING, {"rule": "uniform", "fixed_tube_mm": None, "aspect_frac": Decimal("0.5000001")}, "aspect_frac"),
    (CUP, {"cap_radius_frac": None}, "cap_radius_frac"),
    (CUP, {"cap_radius_frac": Decimal("0.5")}, "cap_radius_frac"),
    (CUP, {"aspect_frac": Decimal("0.2")}, "aspect_frac"),
    (("spheroid", "flat", "uniform"), {"aspect_frac": Decimal("1.1")}, "aspect_frac"),
    (("spheroid", "standing", "uniform"), {"aspect_frac": Decimal("0.9")}, "aspect_frac"),
    (("capsule-shaped", "lying", "uniform"), {"aspect_frac": Decimal(1)}, "aspect_frac"),
    (("capsule-shaped", "lying", "fixed_height"), {"fixed_height_mm": Decimal("5.02")}, "fixed_height_mm"),
]


@pytest.mark.parametrize(("way", "change", "field"), FAULTS)
def test_a_range_that_contradicts_itself_is_named(
    way: tuple[str, str, str], change: dict[str, Any], field: str
) -> None:
    found = list(range_faults(replace(_range(1, *way), **change)))
    assert f"ranges[1].{field}" in {one.field for one in found}
    assert all(one.accepted for one in found)


@pytest.mark.parametrize(
    ("line", "instead", "field"),
    [
        ("aspect_frac = 0.5", "aspect_frac = 0.5\ncap_radius_frac = 0.4", "ranges[1].cap_radius_frac"),
        ("aspect_frac = 0.5", "fixed_tube_mm = nan", "ranges[1].fixed_tube_mm"),
        ("aspect_frac = 0.5", "fixed_section_mm = 0", "ranges[1].fixed_section_mm"),
        ("aspect_frac = 0.5", "fixed_sektion_mm = 5", "ranges[1].fixed_sektion_mm"),
    ],
)
def test_a_number_that_is_none_is_refused_where_the_text_is_read(line: str, instead: str, field: str) -> None:
    with pytest.raises(BadInput) as refused:
        read_formulation(TEXT.replace(line, instead, 1))
    assert field in {one.field for one in refused.value.refusals}
