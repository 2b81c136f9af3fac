"""Every limit of every substance that comes with the house: silent just under and at, an alert just over."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest

from dosewright.ground.pure.quantities import Basis
from prescriptions.calendar import Administration
from prescriptions.dose_limits import Limit, Per
from prescriptions.dosing import bsa_m2, to_nanogram
from prescriptions.findings import Finding, Severity
from prescriptions.intake.substance_toml import read_substance
from prescriptions.screen_facts import SiteRules
from prescriptions.screening import screen
from prescriptions.substance_facts import LimitFacts, SubstanceFacts
from tests.core.prescriptions.builders import START
from tests.core.prescriptions.screened import doses_of, facts

FOLDER = Path(__file__).parents[3] / "fixtures" / "substances"
LEAST_MG = Decimal("0.000001")
WEIGHTS_KG = ((12, "10.8"), (36, "15"), (72, "21"), (120, "34"), (192, "56"), (10_000, "70"))
"""A believable weight before each age [months, kg], from memory."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One end of one limit, at the first day of its band of ages."""

    substance: SubstanceFacts
    limit: LimitFacts
    end: str

    @property
    def age_days(self) -> int:
        """The first day of the band, but no younger than 6 years, where the band goes on so long."""
        return max(self.limit.age_from_days, min(2250, self.limit.age_to_days - 1))


def cases() -> Iterator[Case]:
    for path in sorted(FOLDER.glob("*.toml")):
        substance = read_substance(path.read_text(encoding="utf-8"), since=date(2026, 1, 1))
        for limit in substance.limits:
            yield Case(substance=substance, limit=limit, end="high")
            if limit.low_mg is not None:
                yield Case(substance=substance, limit=limit, end="low")


CASES = tuple(cases())


def named(case: Case) -> str:
    return f"{case.substance.name}-{case.limit.per}-{case.limit.basis}-{case.limit.age_from_days}-{case.end}"


def held(case: Case, dose_mg: Decimal) -> list[Finding]:
    """Return what the screen finds on one dose of somebody of the case's age, about its limit alone."""
    limit, months = case.limit, case.age_days // 30
    kg = next(Decimal(kg) for before, kg in WEIGHTS_KG if months < before)
    alone = Limit(
        per=Per(limit.per),
        source=limit.source,
        high=limit.high_mg,
        low=limit.low_mg,
        basis=Basis(limit.basis),
        severity=Severity(limit.severity),
        from_days=limit.age_from_days,
        to_days=limit.age_to_days,
    )
    given: tuple[Administration, ...] = (replace(doses_of("1 mg", days=1)[0], dose_mg=dose_mg),)
    found = screen(
        facts(
            patient={
                "birth_date": START - timedelta(days=case.age_days),
                "weight_kg": kg,
                "height_cm": Decimal(131),
                "weight_date": START - timedelta(days=3),
                "pregnancy_possible": False,
            },
            substance={"limits": (alone,), "weekly_only": case.substance.weekly_only},
            administrations=given,
            site=SiteRules(hazardous_on=True),
            print_start_date=START - timedelta(days=1),
        )
    )
    return [one for one in found if one.rule.startswith("limit-")]


def bound_mg(case: Case) -> Decimal:
    """Return the case's bound in mg for its patient, worked out apart from the screen."""
    value = case.limit.high_mg if case.end == "high" else case.limit.low_mg
    assert value is not None
    kg = next(Decimal(kg) for before, kg in WEIGHTS_KG if case.age_days // 30 < before)
    scale = {"absolute": Decimal(1), "per kg": kg, "per m2": bsa_m2(Decimal(131), kg)}[case.limit.basis]
    return to_nanogram(value * scale)


@pytest.mark.parametrize("case", CASES, ids=named)
def test_every_limit_under_at_and_over(case: Case) -> None:
    at = bound_mg(case)
    inside, outside = (at - LEAST_MG, at + LEAST_MG) if case.end == "high" else (at + LEAST_MG, at - LEAST_MG)
    assert held(case, at) == []
    assert held(case, inside) == []
    (one,) = held(case, outside)
    assert (one.rule, one.severity) == (f"limit-{case.limit.per}-{case.end}", case.limit.severity)
    assert (one.value, one.limit) == (f"{outside.normalize():f}", f"{at.normalize():f}")
    assert (one.unit, one.source) == (f"mg per {case.limit.per}", case.limit.source)


@pytest.mark.parametrize("case", [one for one in CASES if one.end == "high"], ids=named)
@pytest.mark.parametrize("factor", [10, 100, 1000])
def test_a_slip_out_of_every_range_is_named(case: Case, factor: int) -> None:
    at = bound_mg(case)
    (one,) = held(case, at * factor)
    assert one.severity == "block"
    assert {10: "tenfold", 100: "hundredfold", 1000: "thousandfold"}[factor] in one.message
    assert f"{at.normalize():f} mg would lie in the range" in one.message


def test_bands_of_one_substance_leave_no_gap_but_those_that_are_said() -> None:
    """Melatonin has no limit under two years: there the missing limit is the alert."""
    gaps = {}
    for path in sorted(FOLDER.glob("*.toml")):
        substance = read_substance(path.read_text(encoding="utf-8"), since=date(2026, 1, 1))
        for per in ("dose", "day"):
            bands = [(one.age_from_days, one.age_to_days) for one in substance.limits if one.per == per]
            missing = [day for day in range(0, 30_000, 5) if not any(low <= day < high for low, high in bands)]
            if missing:
                gaps[substance.name, per] = (missing[0], missing[-1])
    assert gaps == {("melatonin", "dose"): (0, 725), ("melatonin", "day"): (0, 725)}
