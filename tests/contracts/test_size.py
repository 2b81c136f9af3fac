"""`size --json`: a dose as units whose mesh and model can be worked out again, or a refusal that helps."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh

from tests.contracts.conftest import Bench
from tests.contracts.running import holds

ORDERED_MG = ("1", "1.75", "2.5", "3", "6", "7.5", "20")


@pytest.mark.parametrize("dose_mg", ORDERED_MG)
def test_content_is_the_printed_model_s_and_the_dose_s(bench: Bench, dose_mg: str) -> None:
    answer = bench.size(f"{dose_mg} mg")
    assert answer.code == 0, answer
    found = answer.document
    assert holds("size", found)
    unit, model = found["unit"], found["unit"]["model"]
    # The formula is the contract's own; only figures that the command printed go into it.
    volume_mm3 = (
        model["slice_volume_mm3"]
        + model["bleed_mm"] * model["perimeter_layer_mm2"]
        + model["overcure_mm"] * model["facing_mm2"]
        - model["leached_mm"] * unit["surface_mm2"]
    )
    content_mg = model["unit_strength_frac"] * model["density_mg_mm3"] * volume_mm3 * (1 - model["bound_frac"])
    assert unit["content_mg"] == pytest.approx(content_mg, rel=1e-9)
    ordered_mg = float(dose_mg)
    assert found["deviation_frac"] == pytest.approx(found["units_per_dose"] * content_mg / ordered_mg - 1, abs=1e-9)
    assert abs(found["deviation_frac"]) <= 0.01  # design.md section 6: 1 % (site), common practice, no source
    assert unit["height_mm"] == pytest.approx(unit["layers"] * unit["layer_um"] / 1000, rel=1e-12)
    assert {one["verdict"] for one in found["checks"]} <= {"pass", "reason"}


@pytest.mark.parametrize("dose_mg", ["1", "2.5", "6"])
def test_the_mesh_written_has_the_volume_told(bench: Bench, tmp_path: Path, dose_mg: str) -> None:
    out = tmp_path / "unit.stl"
    found = bench.size(f"{dose_mg} mg", "--mesh", str(out)).document
    mesh = trimesh.load_mesh(out)
    assert mesh.is_volume
    # Binary STL holds 32-bit floats: coordinates of at most 8 mm are off by at most 2^-22 mm each (IEEE 754).
    told = found["unit"]["mesh_volume_mm3"]
    assert mesh.volume == pytest.approx(told, rel=8 * float(np.finfo(np.float32).eps))
    assert told == pytest.approx(found["unit"]["model"]["slice_volume_mm3"], rel=1e-9)
    assert mesh.extents[2] == pytest.approx(found["unit"]["height_mm"], rel=1e-6)


def test_a_dose_that_needs_two_units_says_so(bench: Bench) -> None:
    whole, half = bench.size("7.5 mg").document, bench.size("3.75 mg").document
    assert whole["units_per_dose"] == 2
    assert whole["unit"]["content_mg"] == pytest.approx(half["unit"]["content_mg"], rel=1e-12)


def test_a_stronger_resin_makes_a_smaller_unit_of_the_same_content(bench: Bench) -> None:
    usual, strong = bench.size("2.5 mg").document, bench.size("2.5 mg", "--unit-strength", "0.042").document
    assert strong["unit"]["mass_mg"] < usual["unit"]["mass_mg"]
    assert strong["unit"]["content_mg"] == pytest.approx(usual["unit"]["content_mg"], rel=1e-6)
    assert strong["unit"]["model"]["unit_strength_frac"] == 0.042


@pytest.mark.parametrize(
    ("dose", "says"),
    [
        ("NaN mg", "number"),
        ("inf mg", "number"),
        ("Infinity mg", "number"),
        ("0 mg", "number"),
        ("0.000 mg", "number"),
        ("-1 mg", "number"),
        ("1e3 mg", "number"),
        ("2,5 mg", "number"),
        ("\uff11 mg", "number"),
        ("1.1234567890123 mg", "digits"),
        ("2.5", "unit"),
        ("2 Mg", "unit"),
        ("2 IU", "unit"),
        ("2 U", "unit"),
        ("2 mg/kg", "unit"),
        ("", "number"),
    ],
)
def test_a_dose_that_is_none_is_refused_with_what_is_accepted(bench: Bench, dose: str, says: str) -> None:
    refused = bench.size(dose).refused
    assert [one["field"] for one in refused] == ["dose"]
    assert refused[0]["accepted"]
    assert refused[0]["rule"] == says


def test_mg_written_as_megagram_is_told_what_it_means(bench: Bench) -> None:
    refused = bench.size("2 Mg").refused[0]
    assert refused["value"] == "Mg"
    assert "mg" in refused["accepted"]
    assert "megagram" in refused["accepted"]


@pytest.mark.parametrize(
    ("more", "field", "accepted"),
    [
        (("--mount", "sheet"), "mount", "flat on necks"),
        (("--orientation", "upright"), "orientation", "flat on necks"),
        (("--layer-um", "37"), "layer_um", "50"),
        (("--layer-um", "0"), "layer_um", "50"),
        (("--layer-um", "-50"), "layer_um", "50"),
        (("--shape", "cube"), "shape", "disc"),
        (("--rule", "any"), "rule", "fixed_height, uniform"),
    ],
)
def test_a_way_that_was_not_assayed_or_validated_is_refused(
    bench: Bench, more: tuple[str, ...], field: str, accepted: str
) -> None:
    refused = bench.size("2.5 mg", *more).refused
    assert [(one["field"], one["accepted"]) for one in refused] == [(field, accepted)]


@pytest.mark.parametrize("strength", ["NaN", "0", "1", "4.06", "-0.04", "0.0_406", "4e-2", "\uff10.04", ""])
def test_a_strength_that_is_none_is_refused(bench: Bench, strength: str) -> None:
    refused = bench.size("2.5 mg", f"--unit-strength={strength}").refused
    assert [one["field"] for one in refused] == ["unit_strength"]
    assert refused[0]["value"] == strength
    assert refused[0]["accepted"]


def test_an_unknown_formulation_is_refused(bench: Bench) -> None:
    refused = bench.manage("size", "--formulation", "FM-NONE", "--dose", "2 mg", "--json").refused
    assert refused[0]["field"] == "formulation"
    assert refused[0]["value"] == "FM-NONE"
    assert refused[0]["accepted"]


@pytest.mark.parametrize(("dose_mg", "below", "above"), [("0.5", None, "1"), ("500", "24", None), ("0.01", None, "1")])
def test_a_dose_outside_the_range_offers_doses_that_can_be_made(
    bench: Bench, dose_mg: str, below: str | None, above: str | None
) -> None:
    answer = bench.size(f"{dose_mg} mg")
    assert all(one["value"] and one["limit"] and one["unit"] for one in answer.refused)
    assert answer.document["nearest_mg"] == {"below": below, "above": above}
    for offered in filter(None, (below, above)):
        assert bench.size(f"{offered} mg").code == 0, offered


def test_a_refused_size_writes_no_mesh(bench: Bench, tmp_path: Path) -> None:
    out = tmp_path / "unit.stl"
    assert bench.size("500 mg", "--mesh", str(out)).refused
    assert not out.exists()


def test_a_process_of_its_own_says_the_same(bench: Bench) -> None:
    for dose in ("2.5 mg", "2 Mg", "500 mg"):
        arguments = ("size", "--formulation", bench.formulation, "--dose", dose, "--json")
        assert bench.process(*arguments) == bench.manage(*arguments)


@pytest.mark.parametrize(
    "arguments",
    [("size",), ("size", "--dose", "2 mg"), ("size", "--formulation", "FM-X", "--dose", "2 mg", "--mount", "air")],
)
def test_wrong_usage_is_exit_2_and_prints_no_document(bench: Bench, arguments: tuple[str, ...]) -> None:
    answer = bench.manage(*arguments, "--json")
    assert (answer.code, answer.out) == (2, "")
    assert answer.err.startswith("usage: ")
