"""What `calc` offers: every registered formula names exactly its inputs, with unit or range, and its source."""

from __future__ import annotations

import doctest
import inspect

import pytest

import printing.core.dose.model
import printing.core.dose.shapes.biconvex
import printing.core.dose.shapes.capsule
import printing.core.dose.shapes.disc
import printing.core.dose.shapes.ring
import printing.core.dose.shapes.spheroid
import printing.core.quality.probability
import printing.core.quality.residues
import printing.core.quality.uniformity
import printing.core.resin.compounding
import printing.core.resin.potency
from dosewright.ground.pure.formulas import FORMULAS

EXPECTED = {
    "budget",
    "content_uniformity",
    "leached_depth",
    "mass_uniformity",
    "mixture_density",
    "potency",
    "shape_biconvex",
    "shape_capsule",
    "shape_disc",
    "shape_ring",
    "shape_spheroid",
    "solvent_intake",
    "uniformity_probability",
    "unit_content",
}
MODULES = [
    printing.core.dose.model,
    printing.core.dose.shapes.biconvex,
    printing.core.dose.shapes.capsule,
    printing.core.dose.shapes.disc,
    printing.core.dose.shapes.ring,
    printing.core.dose.shapes.spheroid,
    printing.core.quality.uniformity,
    printing.core.resin.compounding,
]


def test_the_formulas_are_registered():
    assert set(FORMULAS) >= EXPECTED


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_inputs_match_the_signature(name):
    registered = FORMULAS[name]
    assert list(registered.inputs) == list(inspect.signature(registered.function).parameters)
    assert registered.source
    assert all(registered.inputs.values())
    assert registered.function.__doc__


@pytest.mark.parametrize("module", MODULES, ids=lambda module: module.__name__)
def test_published_examples_in_docstrings(module):
    result = doctest.testmod(module)
    assert result.attempted > 0
    assert result.failed == 0
