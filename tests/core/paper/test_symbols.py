"""Module sizes against the GS1 table, and symbols read back from rasterised labels at printer resolutions."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from dosewright.ground.paper import symbol
from dosewright.ground.pure.errors import BadInput

MODULES = tomllib.loads((Path(__file__).parents[2] / "vectors" / "gs1.toml").read_text(encoding="utf-8"))["modules"]
ELEMENTS = (("01", "06291041500213"), ("17", "260630"), ("10", "RX2501A"), ("21", "0001"))


@pytest.mark.parametrize("case", MODULES["lawful"])
def test_lawful_module_sizes(case):
    size = symbol.module_mm(dpi=case["dpi"], dots=case["dots"])
    assert size == pytest.approx(case["size_mm"], abs=MODULES["tolerance_mm"])


@pytest.mark.parametrize("case", MODULES["refused"])
def test_unlawful_module_sizes_are_refused(case):
    with pytest.raises(BadInput) as caught:
        symbol.module_mm(dpi=case["dpi"], dots=case["dots"])
    assert caught.value.refusals[0].limit == "0.254 to 0.495"


@pytest.mark.parametrize("case", MODULES["chosen"])
def test_chosen_module_is_the_lawful_one_nearest_the_target(case):
    assert symbol.module_dots(case["dpi"]) == case["dots"]


@pytest.mark.parametrize("dpi", [0, 72, 204, 1200])
def test_other_resolutions_are_refused(dpi):
    with pytest.raises(BadInput, match="resolution"):
        symbol.module_dots(dpi)


def test_the_published_string_takes_22_modules():
    # ISO/IEC 16022: 23 codewords need 22 x 22 (standards reference 10.5, capacity table from memory)
    matrix = symbol.modules(symbol.gs1_symbol(ELEMENTS))
    assert [len(row) for row in matrix] == [22] * 22
    assert all(row[0] for row in matrix), "the left edge of the finder is solid"
    assert all(matrix[-1]), "the lower edge of the finder is solid"
    assert [row[-1] for row in matrix] == [place % 2 == 1 for place in range(22)], "the right edge alternates"


def test_a_symbol_holds_elements_or_a_code_and_nothing_forbidden():
    for wrong in ({}, {"elements": ELEMENTS, "plain": "PK-1"}):
        with pytest.raises(BadInput):
            symbol.Symbol(**wrong)
    with pytest.raises(BadInput, match="may not stand beside"):
        symbol.gs1_symbol([("01", "06291041500213"), ("37", "28")])
    with pytest.raises(BadInput, match="brackets"):
        symbol.gs1_symbol([("01", "06291041500213"), ("10", "A(21)B")])
    for code in ("", "ÄB", "A\x1d"):
        with pytest.raises(BadInput):
            symbol.plain_symbol(code)


def test_a_symbol_that_does_not_read_back_is_refused():
    import numpy as np

    one, other = symbol.gs1_symbol(ELEMENTS), symbol.plain_symbol("PK-OTHER")
    dark = np.array(symbol.modules(other))
    picture = np.where(np.pad(dark, 4).repeat(4, axis=0).repeat(4, axis=1), 0, 255).astype("uint8")
    symbol._read_back(picture, other, "PK-OTHER")
    with pytest.raises(BadInput, match="does not read back"):
        symbol._read_back(picture, one, symbol.human_readable(one))
    with pytest.raises(BadInput, match="does not read back"):
        symbol._read_back(np.full_like(picture, 255), other, "PK-OTHER")
