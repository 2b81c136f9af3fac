"""Exact decimal arithmetic for verdicts, where a float could fall on the wrong side of a limit."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import TypeAlias

from dosewright.ground.pure.errors import BadInput

Number: TypeAlias = Decimal | int | float | str


def mean(values: Sequence[Decimal]) -> Decimal:
    """Return the mean; raises BadInput for no values."""
    if not values:
        raise BadInput.because("values", "there is nothing to average", accepted="at least one value")
    return sum(values, Decimal(0)) / len(values)


def sample_sd(values: Sequence[Decimal]) -> Decimal:
    """Return the sample standard deviation (n - 1); raises BadInput for fewer than two values."""
    if len(values) < 2:
        raise BadInput.because("values", "a sample deviation needs two values", value=str(len(values)))
    centre = mean(values)
    return (sum(((one - centre) ** 2 for one in values), Decimal(0)) / (len(values) - 1)).sqrt()


def exact(field: str, value: Number) -> Decimal:
    """Return a finite decimal, from a float by its shortest text; raises BadInput for anything else."""
    if isinstance(value, bool):
        raise BadInput.because(field, "is no number", value=str(value))
    try:
        number = value if isinstance(value, Decimal) else Decimal(str(value))
    except ArithmeticError:
        raise BadInput.because(field, "is no number", value=str(value)) from None
    if not number.is_finite():
        raise BadInput.because(field, "is no finite number", value=str(value))
    return number


def positive(field: str, value: Number) -> Decimal:
    """Return a finite decimal of more than 0; raises BadInput for anything else."""
    number = exact(field, value)
    if number <= 0:
        raise BadInput.because(field, "is not more than 0", value=str(value), accepted="more than 0")
    return number
