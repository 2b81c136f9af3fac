"""A formulation's text is taken as it stands or refused with the place that is wrong."""

from __future__ import annotations

import contextlib
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dosewright.ground.pure.errors import BadInput
from printing.formulary.intake.toml_text import read_formulation
from tests.cast import FORMULATIONS

TEXT = (FORMULATIONS / "hydrocortisone-tablet.toml").read_text(encoding="utf-8")


def refused(text: str) -> BadInput:
    with pytest.raises(BadInput) as caught:
        read_formulation(text)
    return caught.value


def changed(old: str, new: str) -> str:
    assert old in TEXT
    return TEXT.replace(old, new, 1)


def test_numbers_are_the_decimals_that_were_written() -> None:
    spec = read_formulation(TEXT)
    assert [line.mass_frac for line in spec.recipe] == [
        Decimal("0.65"), Decimal("0.30"), Decimal("0.0404"), Decimal("0.0092"), Decimal("0.0004"),
    ]  # fmt: skip
    assert sum(line.mass_frac for line in spec.recipe) == 1
    assert spec.drug.number == 3
    assert spec.default_range is not None
    assert spec.default_range.rule == "uniform"


PLACES: list[tuple[str, str, str]] = [
    ("bleed_mm = 0.028", "bleed_mm = nan", "terms[1].bleed_mm"),
    ("bleed_mm = 0.028", "bleed_mm = inf", "terms[1].bleed_mm"),
    ("bleed_mm = 0.028", 'bleed_mm = "0.028"', "terms[1].bleed_mm"),
    ("bleed_mm = 0.028", "bleed_mm = 28", "terms[1].bleed_mm"),
    ("bleed_mm = 0.028", "bleed_mm = 0.02800000000001", "terms[1].bleed_mm"),
    ("bleed_mm = 0.028\n", "", "terms[1].bleed_mm"),
    ("bleed_mm = 0.028", "bleed_mm = true", "terms[1].bleed_mm"),
    ("mass_frac = 0.65", "mass_frac = 0", "recipe[1].mass_frac"),
    ("mass_frac = 0.65", "mass_frac = 0.65\nmass_percent = 65", "recipe[1].mass_percent"),
    ('role = "drug"', 'role = "flavour"', "recipe[3].ingredient.role"),
    ('mount = "necks"\ntransfer', 'mount = "glue"\ntransfer', "terms[1].mount"),
    ('release = "immediate"', 'release = "slow"', "release"),
    ("invented = true", 'invented = "yes"', "invented"),
    ("layer_um = [50]", "layer_um = [50.5]", "ranges[1].layer_um"),
    ("dose_mg = { min = 1.0, max = 6.0 }", "dose_mg = { min = 1.0 }", "ranges[1].dose_mg.max"),
    ("dose_mg = { min = 1.0, max = 6.0 }", "dose_mg = 6.0", "ranges[1].dose_mg"),
    ('sha256 = "', 'sha256 = "xyz', "profiles[1].sha256"),
    ("lot_life_days = 30", "lot_life_days = 0", "lot_life_days"),
    ("lot_life_days = 30", "lot_life_days = 30.5", "lot_life_days"),
    ("warnings = [", "warnings = [5, ", "warnings"),
    ("low = 95", "low = 195", "test_plan.before_use[4].low"),
    ('where = "corner"', 'where = "edge"', "test_plan.zones[1].where"),
    ("compensation = { outline_mm = 0.0 }", "compensation = { outline_mm = nan }", "profiles[1].compensation"),
    ("storage =", "storrage =", "storage"),
]


@pytest.mark.parametrize(("old", "new", "place"), PLACES)
def test_the_place_that_is_wrong_is_named(old: str, new: str, place: str) -> None:
    found = refused(changed(old, new))
    assert place in [one.field for one in found.refusals]
    assert all(one.accepted for one in found.refusals)


@pytest.mark.parametrize("name", ["moieties_per_formula = 1", "crystal_waters = 0"])
def test_nothing_of_a_drugs_form_is_taken_for_granted(name: str) -> None:
    assert name.partition(" ")[0] in str(refused(changed(name + "\n", "")))


def test_all_faults_are_told_at_once() -> None:
    text = changed("bleed_mm = 0.028", "bleed_mm = nan").replace("lot_life_days = 30", "lot_life_days = 0")
    assert [one.field for one in refused(text).refusals] == ["lot_life_days", "terms[1].bleed_mm"]


@pytest.mark.parametrize(
    "text",
    ["", "= 5", "a = 1\na = 2", "[" * 5_000, "x" * 200_001, "recipe = 5", "name = 5", "recipe = [1]", "terms = [[1]]"],
)
def test_rubbish_is_refused_and_never_crashes(text: str) -> None:
    refused(text)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_a_text_with_a_piece_cut_out_is_read_or_refused(data: st.DataObject) -> None:
    start = data.draw(st.integers(0, len(TEXT) - 1))
    length = data.draw(st.integers(1, 400))
    with contextlib.suppress(BadInput):
        assert read_formulation(TEXT[:start] + TEXT[start + length :]).name
