"""Notation for people: R-58 and R-59 in vectors; a printed mass is never another mass."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dosewright.ground.pure.notation import (
    MicroWord,
    format_count,
    format_mass,
    format_number,
    number_in_words,
)
from tests.core.vectors import load

CASES = load("notation")["mass"]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["mg"])
@pytest.mark.parametrize("word", ["mcg", "micrograms"])
def test_masses(case: dict[str, str], word: MicroWord) -> None:
    assert format_mass(Decimal(case["mg"]), word) == case[word]


def test_a_product_known_by_one_unit_keeps_it() -> None:
    assert format_mass(Decimal("0.1"), "micrograms", unit="ug") == "100 micrograms"
    assert format_mass(Decimal("1.5"), "mcg", unit="ug") == "1,500 mcg"
    assert format_mass(Decimal("0.05"), "mcg", unit="mg") == "0.05 mg"


@pytest.mark.parametrize("value", ["0", "-1", "NaN", "Infinity"])
def test_what_is_no_mass_is_not_written(value: str) -> None:
    with pytest.raises(ValueError, match="finite"):
        format_mass(Decimal(value), "mcg")


@pytest.mark.parametrize("value", ["-0.1", "NaN", "Infinity"])
def test_what_is_no_number_is_not_written(value: str) -> None:
    with pytest.raises(ValueError, match="finite"):
        format_number(Decimal(value))


@given(st.decimals("0.000001", "999999.999999", places=6), st.sampled_from(["mcg", "micrograms"]))
def test_a_written_mass_reads_back_exactly_and_safely(mass_mg: Decimal, word: MicroWord) -> None:
    number, unit = format_mass(mass_mg, word).split(" ")
    scale = Decimal(1) if unit == "mg" else Decimal("0.001")
    assert Decimal(number.replace(",", "")) * scale == mass_mg
    assert not re.search(r"\.[0-9]*0$|\.$|^\.|µ|e", number, re.IGNORECASE)
    assert re.fullmatch(r"[0-9]{1,3}(,[0-9]{3})*(\.[0-9]+)?", number)


def test_counts_stand_in_words() -> None:
    assert format_count(2, "5 mg", one="tablet", many="tablets") == "TWO 5 mg tablets"
    assert format_count(1, "3 mg", one="tablet", many="tablets") == "ONE 3 mg tablet"


@pytest.mark.parametrize(
    ("count", "words"),
    [
        (1, "ONE"),
        (10, "TEN"),
        (11, "ELEVEN"),
        (19, "NINETEEN"),
        (20, "TWENTY"),
        (21, "TWENTY-ONE"),
        (99, "NINETY-NINE"),
    ],
)
def test_number_words(count: int, words: str) -> None:
    assert number_in_words(count) == words


def test_number_words_are_all_different() -> None:
    assert len({number_in_words(count) for count in range(1, 100)}) == 99


@pytest.mark.parametrize("count", [-1, 0, 100])
def test_counts_outside_are_not_written(count: int) -> None:
    with pytest.raises(ValueError, match="1 to 99"):
        number_in_words(count)
