"""Is a weight believable for the age, and recent enough: pound for kilogram, stale weights."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

from dosewright.ground.pure.canonical import decimal_text
from dosewright.ground.pure.quantities import KG_PER_POUND

BANDS_SOURCE: Final = "wide plausibility band from memory, no source; the site replaces it"
VALIDITY_SOURCE: Final = "house rule by age, common practice, no source; the site may change it"

SLIP_NEARNESS: Final = Decimal("0.1")
"""How near a change of weight must be to a slip's factor to be named [fraction]; judgement, no source."""

_WITHIN_DAYS: Final = 28


@dataclass(frozen=True, slots=True, kw_only=True)
class Age:
    """An age on a day: ``days`` and completed ``months``."""

    days: int
    months: int

    @property
    def years(self) -> int:
        """Completed years."""
        return self.months // 12


@dataclass(frozen=True, slots=True, kw_only=True)
class WeightBand:
    """Believable weights [kg] of girls and women, boys and men, from ``from_months`` on."""

    from_months: int
    female_kg: tuple[str, str]
    male_kg: tuple[str, str]


def _band(from_months: int, female: tuple[str, str], male: tuple[str, str]) -> WeightBand:
    return WeightBand(from_months=from_months, female_kg=female, male_kg=male)


WEIGHT_BANDS: Final = (
    _band(0, ("0.4", "7"), ("0.4", "7")),
    _band(1, ("1.4", "8.5"), ("1.5", "9")),
    _band(3, ("2.8", "11.5"), ("3", "12")),
    _band(6, ("4.5", "14"), ("5", "15")),
    _band(12, ("6", "18"), ("6.5", "19")),
    _band(24, ("8", "23"), ("8.5", "23")),
    _band(36, ("9.5", "27"), ("9.5", "27")),
    _band(48, ("10.5", "32"), ("10.5", "32")),
    _band(60, ("12", "38"), ("12", "38")),
    _band(72, ("13", "44"), ("13", "44")),
    _band(84, ("14.5", "50"), ("14.5", "50")),
    _band(96, ("16", "56"), ("16", "56")),
    _band(108, ("18", "63"), ("18", "63")),
    _band(120, ("20", "71"), ("20", "70")),
    _band(132, ("22", "80"), ("22", "79")),
    _band(144, ("25", "90"), ("25", "89")),
    _band(156, ("28", "100"), ("28", "100")),
    _band(168, ("31", "110"), ("32", "115")),
    _band(192, ("33", "120"), ("36", "135")),
    _band(216, ("35", "140"), ("40", "150")),
)


def age_on(birth_date: date, on_date: date) -> Age:
    """Return the age on ``on_date``, which is not before ``birth_date``; raises ValueError otherwise.

    A month is complete on the day of the month of birth; one born on the 31st completes a short month on
    the first day of the next.
    """
    if on_date < birth_date:
        raise ValueError("no age before birth")
    months = (on_date.year - birth_date.year) * 12 + on_date.month - birth_date.month
    return Age(days=(on_date - birth_date).days, months=months - (on_date.day < birth_date.day))


def believable_kg(age: Age, sex: str) -> tuple[Decimal, Decimal]:
    """Return the least and the most believable weight [kg] at ``age``; any sex but the two takes both bands.

    Values: see `BANDS_SOURCE`.
    """
    band = next(one for one in reversed(WEIGHT_BANDS) if one.from_months <= age.months)
    bands = {"female": (band.female_kg,), "male": (band.male_kg,)}.get(sex, (band.female_kg, band.male_kg))
    return min(Decimal(low) for low, _ in bands), max(Decimal(high) for _, high in bands)


def weight_slip(weight_kg: Decimal, low_kg: Decimal, high_kg: Decimal) -> str | None:
    """Name the slip that would explain a weight outside ``low_kg`` to ``high_kg`` [kg], or None."""
    explained = (
        (weight_kg * KG_PER_POUND, "pounds entered as kilograms"),
        (weight_kg / KG_PER_POUND, "kilograms converted as if they were pounds"),
        (weight_kg / 10, "a decimal point one place too far right"),
        (weight_kg * 10, "a decimal point one place too far left"),
        (weight_kg / 1000, "grams entered as kilograms"),
    )
    for meant_kg, name in explained:
        if low_kg <= meant_kg <= high_kg:
            return f"{name}? that would be {decimal_text(round(meant_kg, 2))} kg"
    return None


def weight_change_slip(before_kg: Decimal, now_kg: Decimal) -> str | None:
    """Name the slip of a unit or a digit that would explain a change between two weights [kg, > 0], or None."""
    changes = (
        (1 / KG_PER_POUND, "pounds entered as kilograms, now or before"),
        (Decimal(10), "a decimal point in another place, now or before"),
        (Decimal(1000), "grams entered as kilograms, now or before"),
    )
    ratio = max(now_kg, before_kg) / min(now_kg, before_kg)
    for factor, name in changes:
        if abs(ratio - factor) <= SLIP_NEARNESS * factor:
            return f"{name}?"
    return None


def weight_valid_days(age: Age) -> int:
    """Return for how many days a weight holds at ``age`` [days]; values: see `VALIDITY_SOURCE`."""
    if age.days < _WITHIN_DAYS:
        return 3
    for under_months, valid_days in ((3, 7), (12, 21), (24, 45), (144, 90), (216, 180)):
        if age.months < under_months:
            return valid_days
    return 365
