"""The sizing rules by name; a new rule is one file and one line here."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

from dosewright.ground.pure.errors import BadInput
from printing.core.dose.model import Terms
from printing.core.dose.rules.fixed_height import fixed_height
from printing.core.dose.rules.fixed_section import fixed_section
from printing.core.dose.rules.fixed_tube import fixed_tube
from printing.core.dose.rules.uniform import uniform
from printing.core.dose.shapes.base import Design, Shape
from printing.core.dose.solving import Held

Rule: TypeAlias = Callable[[Shape, Design, float, Terms], Held]

RULES: dict[str, Rule] = {
    "uniform": uniform,
    "fixed_height": fixed_height,
    "fixed_section": fixed_section,
    "fixed_tube": fixed_tube,
}
"""Each keeps what its name says; the range of a formulation gives the number that is kept."""


def rule_named(name: str, shape: Shape) -> Rule:
    """Return the rule of this name; raises BadInput when there is none or the shape does not take it."""
    if name not in RULES or name not in shape.rules:
        raise BadInput.because(
            "rule",
            f"is no rule for shape {shape.name}, {shape.orientation}",
            value=name,
            accepted=", ".join(shape.rules),
        )
    return RULES[name]


__all__ = ["RULES", "Rule", "rule_named"]
