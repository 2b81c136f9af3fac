"""Uniformity of dosage units, of mass and of content, and how likely a process is to meet it.

USP <905> and Ph. Eur. 2.9.40 are harmonised.  Passing them says something of the units tested only
(ASTM E2810): a mass-derived content is an in-process estimate, not a content-uniformity result.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from dosewright.ground.pure.errors import BadInput
from dosewright.ground.pure.formulas import formula
from printing.core.exact import Number, exact, mean, positive, sample_sd

ACCEPTABILITY = {10: Decimal("2.4"), 30: Decimal("2.0")}
"""k by sample size; there is no other (USP <905> Table 2)."""
L1 = Decimal("15.0")
L2 = Decimal("25.0")
"""L1 limits the acceptance value at both stages, L2 the individual units at stage 2 (USP <905> Table 2, FAQ Q2)."""
LOW, HIGH = Decimal("98.5"), Decimal("101.5")

PASSED, TEST_TWENTY_MORE, FAILED = "passed", "test 20 more", "failed"


@dataclass(frozen=True, slots=True, kw_only=True)
class AcceptanceValue:
    """The acceptance value with what it was made of, all in % of label claim."""

    n: int
    mean: Decimal
    sd: Decimal
    reference: Decimal
    k: Decimal
    value: Decimal
    rounded: Decimal
    within_l1: bool

    @property
    def individual_limits(self) -> tuple[Decimal, Decimal]:
        """The range (1 -/+ 0.01 L2) M that every one of 30 units must keep."""
        return (1 - L2 / 100) * self.reference, (1 + L2 / 100) * self.reference


@dataclass(frozen=True, slots=True, kw_only=True)
class UniformityResult:
    """A stage's verdict, its acceptance value and the units outside the individual limits (stage 2 only)."""

    verdict: str
    stage: int
    acceptance: AcceptanceValue
    outside: tuple[Decimal, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class MassUniformity:
    """A verdict of 2.9.5 with its class limit and the masses beyond it, and beyond twice it."""

    verdict: str
    mean_mg: Decimal
    limit_percent: Decimal
    beyond: tuple[Decimal, ...]
    beyond_twice: tuple[Decimal, ...]


def round_half_up(value: Number, step: str = "0.1") -> Decimal:
    """Return the value rounded half up to the step (15.05 -> 15.1).  Source: USP General Notices 7.20 [memory]."""
    return exact("value", value).quantize(Decimal(step), rounding=ROUND_HALF_UP)


def acceptance_value(mean_percent: Number, sd_percent: Number, n: int, target_percent: Number = 100) -> AcceptanceValue:
    """Return the acceptance value of a mean and a sample standard deviation, in % of label claim.

    mean_percent: [%] > 0.  sd_percent: sample standard deviation (n - 1) [%] >= 0.  n: 10 or 30.
    target_percent: T [%], 100 unless the formulation has an approved target.  Raises BadInput for others.
    Source: USP <905> Table 2; Ph. Eur. 2.9.40.

    >>> str(acceptance_value("105.9", "5.0", 10).rounded)
    '16.4'
    """
    if n not in ACCEPTABILITY:
        raise BadInput.because("n", "the harmonised test knows no such sample", value=str(n), accepted="10 or 30")
    centre, spread, aim = (
        exact("mean_percent", mean_percent),
        exact("sd_percent", sd_percent),
        exact("target_percent", target_percent),
    )
    if centre <= 0 or spread < 0 or aim <= 0:
        raise BadInput.because(
            "mean_percent", "contents are positive and a deviation is not negative", value=str(mean_percent)
        )
    reference = min(max(centre, LOW), max(HIGH, aim))
    value = abs(reference - centre) + ACCEPTABILITY[n] * spread
    rounded = round_half_up(value)
    return AcceptanceValue(
        n=n,
        mean=centre,
        sd=spread,
        reference=reference,
        k=ACCEPTABILITY[n],
        value=value,
        rounded=rounded,
        within_l1=rounded <= L1,
    )


@formula(
    "content_uniformity",
    inputs={
        "contents_percent": "individual contents [% of label claim], the first 10, or all 30 in order of testing",
        "target_percent": "T [% of label claim], 100 unless an approved target says otherwise",
    },
    source="USP <905> Table 2; Ph. Eur. 2.9.40",
)
def content_uniformity(contents_percent: Sequence[Number], target_percent: Number = 100) -> UniformityResult:
    """Return the verdict of the uniformity test on 10 units (stage 1) or all 30 (stage 2).

    Stage 1 passes at an acceptance value of at most 15.0, else twenty more are tested; stage 2 passes at an
    acceptance value of at most 15.0 with every unit in 0.75 M to 1.25 M.  Raises BadInput for another number of
    units, or a content that is no number of 0 or more.
    """
    contents = [exact("contents_percent", one) for one in contents_percent]
    if any(one < 0 for one in contents):
        raise BadInput.because("contents_percent", "a content is negative", accepted="0 or more")
    if len(contents) not in ACCEPTABILITY:
        raise BadInput.because(
            "contents_percent", "wrong number of units", value=str(len(contents)), accepted="10 or 30"
        )
    acceptance = acceptance_value(mean(contents), sample_sd(contents), len(contents), target_percent)
    if len(contents) == 10:
        return UniformityResult(
            verdict=PASSED if acceptance.within_l1 else TEST_TWENTY_MORE, stage=1, acceptance=acceptance
        )
    low, high = acceptance.individual_limits
    outside = tuple(one for one in contents if not low <= one <= high)
    passed = acceptance.within_l1 and not outside
    return UniformityResult(verdict=PASSED if passed else FAILED, stage=2, acceptance=acceptance, outside=outside)


def contents_by_mass(masses_mg: Sequence[Number], assay_percent: Number) -> tuple[Decimal, ...]:
    """Return estimated contents [% of label claim], x_i = w_i A / mean(w); an estimate, not a content test.

    masses_mg: [mg] > 0.  assay_percent: separate assay [% of label claim] > 0.
    Source: USP <905> "Weight variation"; the exact mean is [memory].
    """
    masses = [positive("masses_mg", one) for one in masses_mg]
    assay = positive("assay_percent", assay_percent)
    average = mean(masses)
    return tuple(one * assay / average for one in masses)


def weight_variation_allowed(
    drug_mg: Number, unit_mg: Number, *, tablet: bool = True, concentration_rsd_percent: Number | None = None
) -> bool:
    """Return whether weight variation may stand in for content uniformity.

    Uncoated and film-coated tablets with 25 mg or more that is 25 % or more of the unit, or with a validated
    relative standard deviation of concentration of at most 2 %; any other solid printed form never.
    Source: USP <905> Table 1, W4 and its escape.
    """
    drug, unit = positive("drug_mg", drug_mg), positive("unit_mg", unit_mg)
    if drug > unit:
        raise BadInput.because("drug_mg", "more drug than unit", value=str(drug), unit="mg", limit=str(unit))
    if not tablet:
        return False
    if drug >= 25 and drug * 4 >= unit:
        return True
    return concentration_rsd_percent is not None and exact("rsd", concentration_rsd_percent) <= 2


def mass_class_percent(mean_mg: Number) -> Decimal:
    """Return the limit [%] of uniformity of mass for tablets of this average mass.  Source: Ph. Eur. 2.9.5."""
    average = positive("mean_mg", mean_mg)
    if average <= 80:
        return Decimal("10")
    return Decimal("7.5") if average < 250 else Decimal("5")


@formula(
    "mass_uniformity",
    inputs={"masses_mg": "masses of 20 units [mg], more than 0"},
    source="Ph. Eur. 2.9.5 (01/2008:20905), table 2.9.5.-1, tablets uncoated and film-coated",
)
def mass_uniformity(masses_mg: Sequence[Number]) -> MassUniformity:
    """Return the verdict on 20 masses: not more than 2 beyond the class limit from their average, none beyond twice."""
    masses = [positive("masses_mg", one) for one in masses_mg]
    if len(masses) != 20:
        raise BadInput.because("masses_mg", "the test weighs 20 units", value=str(len(masses)), accepted="20")
    average = mean(masses)
    limit = mass_class_percent(average)
    beyond = tuple(one for one in masses if abs(one - average) * 100 > limit * average)
    twice = tuple(one for one in masses if abs(one - average) * 100 > 2 * limit * average)
    verdict = PASSED if len(beyond) <= 2 and not twice else FAILED
    return MassUniformity(verdict=verdict, mean_mg=average, limit_percent=limit, beyond=beyond, beyond_twice=twice)


def content_of_units(contents_mg: Sequence[Number], *, test: str = "A") -> str:
    """Return the verdict of uniformity of content against the average of the units themselves.

    contents_mg: the first 10, or all 30 [mg].  test: "A" (tablets) or "B" (capsules and the like); test C is not
    verified and not offered.  Returns "passed", "test 20 more" or "failed".
    Source: Ph. Eur. 2.9.6 (01/2017:20906).  Assumes that the average of the 10 holds for all 30 (design rule).
    """
    contents = [positive("contents_mg", one) for one in contents_mg]
    if len(contents) not in (10, 30) or test not in ("A", "B"):
        raise BadInput.because("contents_mg", "wrong number of units or test", accepted="10 or 30; test A or B")
    average = mean(contents[:10])
    outside = sum(1 for one in contents if not Decimal("0.85") * average <= one <= Decimal("1.15") * average)
    far = any(not Decimal("0.75") * average <= one <= Decimal("1.25") * average for one in contents)
    at_once, after_thirty = (0, 1) if test == "A" else (1, 3)
    if far or outside > after_thirty:
        return FAILED
    if len(contents) == 30:
        return PASSED
    return PASSED if outside <= at_once else TEST_TWENTY_MORE
