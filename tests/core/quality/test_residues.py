"""Residual solvent: both options of ICH Q3C."""

from __future__ import annotations

from decimal import Decimal

import pytest

from dosewright.ground.pure.errors import BadInput
from printing.core.quality.residues import option_1_limit_ppm, solvent_intake
from tests.core.vectors import load

CASE = load("quality")["solvent"]


def test_option_1():
    assert option_1_limit_ppm(CASE["pde_mg_day"]) == CASE["option_1_ppm"]
    assert option_1_limit_ppm(50, 2) == 25_000  # standards reference 5.1


def test_option_2():
    found = solvent_intake(CASE["mass_g_day"], CASE["residue_percent"])
    assert found.intake_mg_day == Decimal(CASE["intake_mg_day"])
    assert found.within_option_2
    assert not found.within_option_1
    assert found.concentration_ppm == 12_000


def test_limits_include_their_ends():
    assert solvent_intake("10", "0.5").within_option_1
    assert solvent_intake("10", "0.5").within_option_2
    assert not solvent_intake("10", "0.501").within_option_1
    assert not solvent_intake("10", "0.501").within_option_2
    assert not solvent_intake("10", "0.5", other_mg_day=["0.1"]).within_option_2


@pytest.mark.parametrize(
    ("mass", "percent", "pde", "other"), [(0, 1, 50, 0), (1, -1, 50, 0), (1, 101, 50, 0), (1, 1, 0, 0)]
)
def test_bad_numbers_are_refused(mass, percent, pde, other):
    with pytest.raises(BadInput):
        solvent_intake(mass, percent, pde, other)
    with pytest.raises(BadInput):
        solvent_intake(1, 1, 50, -1)
