"""First-order uncertainty budget of a content: what is common to a batch, what differs from unit to unit."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.formulas import formula

SYSTEMATIC, INDEPENDENT = "systematic", "independent"
COVERAGE = math.erf(math.sqrt(2.0))
"""0.9545: the level at which the coverage factor of a normal quantity is 2 (JCGM 100:2008, table G.2)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Input:
    """An input quantity with its standard uncertainty and degrees of freedom (infinite: known from elsewhere)."""

    name: str
    value: float
    standard_uncertainty: float
    unit: str
    kind: str = SYSTEMATIC
    degrees_of_freedom: float = math.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class Contribution:
    """One row of the budget: the input, its sensitivity and what it adds to the result's uncertainty."""

    name: str
    value: float
    unit: str
    standard_uncertainty: float
    sensitivity: float
    contribution: float
    kind: str
    degrees_of_freedom: float
    share_frac: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """A combined standard uncertainty with its parts; `expanded` is for a coverage of 95.45 %."""

    value: float
    rows: tuple[Contribution, ...]
    systematic: float
    independent: float
    combined: float
    effective_degrees_of_freedom: float
    coverage_factor: float
    expanded: float
    units: int

    @property
    def expanded_frac(self) -> float:
        """The expanded uncertainty relative to the value."""
        return self.expanded / abs(self.value)


def uncertainty_budget(
    function: Callable[[Mapping[str, float]], float], inputs: Sequence[Input], *, units: int = 1
) -> Budget:
    """Return the budget of `function` at the inputs, per unit, for the mean of `units` units of one batch.

    function: takes a mapping of input names to values.  inputs: each once, uncertainties >= 0.
    Sensitivities are numeric: half the difference of the function one standard uncertainty either side.
    Raises BadInput for a bad input.  Assumes uncorrelated inputs and a function nearly straight over +/- u.
    Source: JCGM 100:2008, eq. (10) and 5.1.3; Welch-Satterthwaite eq. (G.2b).
    """
    values = {one.name: one.value for one in inputs}
    if len(values) != len(inputs):
        raise BadInput.because("inputs", "an input is named twice", accepted="each name once")
    sensitivities = [_sensitivity(function, values, one) for one in inputs]
    return _combine(function(values), inputs, sensitivities, units)


@formula(
    "budget",
    inputs={
        "value": "the result, in its own unit, not 0",
        "contributions": "list of {name, contribution [unit of the result] >= 0, kind systematic|independent, "
        "degrees_of_freedom > 0 or missing for infinite}",
        "units": "number of units averaged, 1 or more",
    },
    source="JCGM 100:2008, eq. (10), eq. (G.2b) and table G.2",
)
def combine_contributions(value: float, contributions: Sequence[Mapping[str, Any]], units: int = 1) -> Budget:
    """Return the budget of contributions u_i = |c_i| u(x_i); averaging units reduces the independent part only."""
    inputs = [
        Input(
            name=str(row["name"]),
            value=0.0,
            standard_uncertainty=float(row["contribution"]),
            unit="",
            kind=str(row.get("kind", SYSTEMATIC)),
            degrees_of_freedom=float(row.get("degrees_of_freedom", math.inf)),
        )
        for row in contributions
    ]
    return _combine(value, inputs, [1.0] * len(inputs), units)


def isotropic_dose_factor(linear_error_frac: float) -> float:
    """Return the factor on a dose when every length is off by a fraction: (1 + e)^3, e > -1."""
    if not (math.isfinite(linear_error_frac) and linear_error_frac > -1):
        raise BadInput.because("linear_error_frac", "is no error of a length", value=str(linear_error_frac))
    return (1.0 + linear_error_frac) ** 3


def coverage_factor(degrees_of_freedom: float, coverage: float = COVERAGE) -> float:
    """Return the two-sided factor of Student's t at the degrees of freedom, truncated to a whole number.

    degrees_of_freedom: >= 1, infinite for a normal quantity.  Raises BadInput below 1.
    Source: JCGM 100:2008, G.4.1 and table G.2.
    """
    from scipy.special import ndtri, stdtrit

    if not degrees_of_freedom >= 1:
        raise BadInput.because("degrees_of_freedom", "too few", value=str(degrees_of_freedom), accepted="1 or more")
    quantile = (1.0 + coverage) / 2.0
    if math.isinf(degrees_of_freedom):
        return float(ndtri(quantile))
    return float(stdtrit(math.floor(degrees_of_freedom), quantile))


def _sensitivity(function: Callable[[Mapping[str, float]], float], values: Mapping[str, float], one: Input) -> float:
    step = one.standard_uncertainty or 1e-6 * (abs(one.value) or 1.0)
    above = function({**values, one.name: one.value + step})
    below = function({**values, one.name: one.value - step})
    return (above - below) / (2.0 * step)


def _combine(value: float, inputs: Sequence[Input], sensitivities: Sequence[float], units: int) -> Budget:
    _refuse_bad(value, inputs, units)
    amounts = [abs(c) * one.standard_uncertainty for c, one in zip(sensitivities, inputs, strict=True)]
    averaged = [u / math.sqrt(units) if one.kind == INDEPENDENT else u for u, one in zip(amounts, inputs, strict=True)]
    combined = math.hypot(*averaged)
    systematic = math.hypot(*(u for u, one in zip(averaged, inputs, strict=True) if one.kind == SYSTEMATIC), 0.0)
    independent = math.hypot(*(u for u, one in zip(amounts, inputs, strict=True) if one.kind == INDEPENDENT), 0.0)
    freedom = _effective_freedom(combined, averaged, inputs)
    factor = coverage_factor(freedom)
    return Budget(
        value=value,
        rows=tuple(
            Contribution(
                name=one.name,
                value=one.value,
                unit=one.unit,
                standard_uncertainty=one.standard_uncertainty,
                sensitivity=c,
                contribution=u,
                kind=one.kind,
                degrees_of_freedom=one.degrees_of_freedom,
                share_frac=(part / combined) ** 2 if combined else 0.0,
            )
            for c, u, part, one in zip(sensitivities, amounts, averaged, inputs, strict=True)
        ),
        systematic=systematic,
        independent=independent,
        combined=combined,
        effective_degrees_of_freedom=freedom,
        coverage_factor=factor,
        expanded=factor * combined,
        units=units,
    )


def _effective_freedom(combined: float, parts: Sequence[float], inputs: Sequence[Input]) -> float:
    spread = sum(part**4 / one.degrees_of_freedom for part, one in zip(parts, inputs, strict=True))
    return combined**4 / spread if spread > 0 else math.inf


def _refuse_bad(value: float, inputs: Sequence[Input], units: int) -> None:
    if not inputs or not math.isfinite(value) or value == 0:
        raise BadInput.because("value", "a budget needs inputs and a finite result other than 0", value=str(value))
    if isinstance(units, bool) or not isinstance(units, int) or units < 1:
        raise BadInput.because("units", "is no number of units", value=str(units), accepted="1 or more")
    for one in inputs:
        if not (math.isfinite(one.standard_uncertainty) and one.standard_uncertainty >= 0):
            raise BadInput.because(one.name, "has no standard uncertainty", value=str(one.standard_uncertainty))
        if one.kind not in (SYSTEMATIC, INDEPENDENT) or not one.degrees_of_freedom >= 1:
            raise BadInput.because(one.name, "kind or degrees of freedom unknown", value=one.kind)
