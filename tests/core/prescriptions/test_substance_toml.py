"""The substances that come with the house: read strictly, their fractions worked out anew, sources everywhere."""

from __future__ import annotations

import re
import tomllib
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from dosewright.ground.pure.errors import BadInput
from prescriptions.intake.substance_toml import read_substance

FOLDER = Path(__file__).parents[3] / "fixtures" / "substances"
FILES = sorted(FOLDER.glob("*.toml"))
SINCE = date(2026, 1, 1)
WEIGHTS = {
    element: Decimal(weight)
    for element, weight in (
        *(("H", "1.008"), ("C", "12.011"), ("N", "14.007"), ("O", "15.999"), ("F", "18.998")),
        *(("Na", "22.990"), ("P", "30.974"), ("I", "126.90")),
    )
}
"""IUPAC abridged standard atomic weights 2021 (Prohaska et al., Pure Appl Chem 2022;94:573-600); from memory."""


def molar_mass(formula: str) -> Decimal:
    """Return the molar mass of a formula without brackets [g/mol]."""
    parts = re.findall(r"([A-Z][a-z]?)([0-9]*)", formula)
    assert "".join(element + count for element, count in parts) == formula
    return sum((WEIGHTS[element] * int(count or 1) for element, count in parts), Decimal(0))


def raw(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_file_reads_and_each_figure_says_its_source(path: Path) -> None:
    facts = read_substance(path.read_text(encoding="utf-8"), since=SINCE)
    assert facts.name == path.stem
    assert {one.per for one in facts.limits} >= {"dose", "day"}
    assert all(len(one.source) > 10 and one.since == SINCE for one in (*facts.limits,))
    assert all(one.source for one in facts.names)
    assert facts.rounding_source


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_fractions_follow_from_formulas(path: Path) -> None:
    written = raw(path)
    mass = molar_mass(written["formula"])
    pairs = [(one["form_frac"], mass / molar_mass(one["formula"])) for one in written["names"] if one["kind"] == "form"]
    if "moiety_frac" in written:
        pairs.append((written["moiety_frac"], molar_mass(written["moiety_formula"]) / mass))
    else:
        assert written["moiety"] == written["name"]
    assert all(Decimal(stated) == round(worked_out, 6) for stated, worked_out in pairs)


@pytest.mark.parametrize(
    ("formula", "published"),
    [
        # Molar masses as pharmacopoeia monographs print them [g/mol], from memory, to be confirmed.
        ("C21H30O5", "362.5"),
        ("C21H28O5", "360.4"),
        ("C23H31FO6", "422.5"),
        ("C21H29FO5", "380.5"),
        ("C13H16N2O2", "232.3"),
        ("C15H10I4NNaO4", "799"),
        ("C20H22N8O5", "454.4"),
    ],
)
def test_molar_masses_are_those_of_the_monographs(formula: str, published: str) -> None:
    places = len(published.partition(".")[2])
    assert abs(molar_mass(formula) - Decimal(published)) <= Decimal(6) / 10 ** (places + 1)


def test_the_example_of_once_a_week_is_hazardous_and_has_no_other_way() -> None:
    facts = read_substance((FOLDER / "methotrexate.toml").read_text(encoding="utf-8"), since=SINCE)
    assert (facts.weekly_only, facts.hazardous) == (True, True)
    assert "ONCE A WEEK" in facts.warnings[0]


GOOD = """
name = "demoline"
moiety = "demoline"
rounding_step_mg = "0.5"
rounding_limit_frac = "0.1"
rounding_source = "invented"
[[names]]
name = "demoline sodium"
kind = "form"
form_frac = "0.9"
source = "invented"
[[limits]]
per = "dose"
high_mg = "5"
source = "invented"
"""


def test_what_is_left_out_takes_the_open_end() -> None:
    facts = read_substance(GOOD, since=SINCE)
    assert (facts.moiety_frac, facts.warnings, facts.weekly_only) == (1, (), False)
    limit = facts.limits[0]
    assert (limit.age_from_days, limit.from_kg, limit.to_kg, limit.low_mg) == (0, None, None, None)
    assert (limit.severity, limit.basis, limit.route) == ("reason", "absolute", "oral")


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ('name = "demoline"', 'title = "demoline"', "title"),
        ('name = "demoline"\n', "", "name"),
        ('"0.5"', "0.5", "rounding_step_mg"),
        ('"0.5"', '"nan"', "rounding_step_mg"),
        ('"0.5"', '"0"', "rounding_step_mg"),
        ('high_mg = "5"', "", "limits[0].high_mg"),
        ('high_mg = "5"', 'high_mg = "5 mg"', "limits[0].high_mg"),
        ('per = "dose"', 'per = "week"', "limits[0].per"),
        ('per = "dose"', 'per = "dose"\nfrom_days = -1', "limits[0].from_days"),
        ('per = "dose"', 'per = "dose"\nfrom_days = true', "limits[0].from_days"),
        ('kind = "form"', 'kind = "brand"', "names[0].kind"),
        ('form_frac = "0.9"\nsource = "invented"', 'form_frac = "0.9"', "names[0].source"),
        ('rounding_source = "invented"', 'rounding_source = ""', "rounding_source"),
        ('rounding_source = "invented"', 'rounding_source = "invented"\nweekly_only = "yes"', "weekly_only"),
        ("[[limits]]", "[[limits", "substance"),
    ],
)
def test_what_is_doubtful_is_refused_by_its_place(old: str, new: str, field: str) -> None:
    assert old in GOOD
    with pytest.raises(BadInput) as refused:
        read_substance(GOOD.replace(old, new, 1), since=SINCE)
    assert field in {one.field for one in refused.value.refusals}
