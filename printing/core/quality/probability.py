"""How likely a process with a known mean and spread is to meet the uniformity test."""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.formulas import formula
from printing.core.quality.uniformity import ACCEPTABILITY, HIGH, L1, LOW

if TYPE_CHECKING:
    from numpy.typing import NDArray

NODES = 200
"""Gauss-Legendre nodes over the sample deviation; 400 change no published value of the tests by 1e-9."""


@formula(
    "uniformity_probability",
    inputs={
        "mean_percent": "true mean content [% of label claim], more than 0",
        "sd_percent": "true standard deviation between units [% of label claim], 0 or more",
    },
    source="USP <905> criteria; bound of the Bergum type, structure: Pharmaceutical Technology, article 463577",
)
def uniformity_probability(mean_percent: float, sd_percent: float) -> tuple[float, float]:
    """Return the chance of passing stage 1, and a lower bound of the chance of passing at either stage.

    Lower bound = max(P(S1), P(AV of 30 <= 15) + P(30 units within 0.75 M to 1.25 M) - 1), M at the true mean.
    Assumes normally distributed contents and T = 100.  Raises BadInput for numbers outside the ranges.
    """
    if not (math.isfinite(mean_percent) and mean_percent > 0 and math.isfinite(sd_percent) and sd_percent >= 0):
        raise BadInput.because("sd_percent", "mean and deviation are no contents", value=str(sd_percent))
    stage_one = _chance_of_acceptance(mean_percent, sd_percent, 10)
    both = _chance_of_acceptance(mean_percent, sd_percent, 30) + _chance_inside(mean_percent, sd_percent) - 1.0
    return stage_one, max(stage_one, both)


def _chance_of_acceptance(mean: float, sd: float, n: int) -> float:
    """P(|M - mean| + k s <= 15) by Gauss-Legendre over s; sample mean and s are independent."""
    from scipy.special import ndtr
    from scipy.stats import chi

    k, limit, low, high = float(ACCEPTABILITY[n]), float(L1), float(LOW), float(HIGH)
    if sd == 0:
        return float(low - limit <= mean <= high + limit)
    scale = sd / math.sqrt(n - 1)
    top = min(limit / k, sd * (1.0 + 12.0 / math.sqrt(n - 1)))
    nodes, weights = _nodes()
    s = top * (nodes + 1.0) / 2.0
    room = limit - k * s
    error = sd / math.sqrt(n)
    inside = ndtr((high + room - mean) / error) - ndtr((low - room - mean) / error)
    chance = float((weights * chi.pdf(s / scale, n - 1) / scale * inside).sum() * top / 2.0)
    return min(1.0, chance)  # the quadrature may exceed 1 by rounding


def _chance_inside(mean: float, sd: float) -> float:
    from scipy.special import ndtr

    reference = min(max(mean, float(LOW)), float(HIGH))
    low, high = 0.75 * reference, 1.25 * reference
    if sd == 0:
        return float(low <= mean <= high)
    return float(ndtr((high - mean) / sd) - ndtr((low - mean) / sd)) ** 30


@lru_cache(maxsize=1)
def _nodes() -> tuple[NDArray[Any], NDArray[Any]]:
    import numpy as np

    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    return nodes, weights
