"""How masses and counts are written for people, so that no zero, point or prefix can be misread.

Rules: no trailing zero, a leading zero, a space before the unit, commas from 1,000 on, the symbol for
micro never printed (ISMP list of error-prone abbreviations; R-58, R-59). "micrograms" in full in the UK is
common practice after the BNF (from memory, not re-read). Numbers are written out whole: nothing is rounded.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Final, Literal

from dosewright.ground.pure.canonical import decimal_text

MicroWord = Literal["mcg", "micrograms"]
MassUnit = Literal["mg", "ug"]

_UG_PER_MG: Final = 1000
_CLEAR_MG: Final = Decimal("0.1")
_CLEAR_PLACES: Final = 2
_UNDER_TEN: Final = ("ZERO", "ONE", "TWO", "THREE", "FOUR", "FIVE", "SIX", "SEVEN", "EIGHT", "NINE")
_UNDER_FIFTEEN: Final = ("TEN", "ELEVEN", "TWELVE", "THIRTEEN", "FOURTEEN")
_UNDER_TWENTY: Final = ("FIFTEEN", "SIXTEEN", "SEVENTEEN", "EIGHTEEN", "NINETEEN")
_ONES: Final = (*_UNDER_TEN, *_UNDER_FIFTEEN, *_UNDER_TWENTY)
_TENS: Final = ("", "", "TWENTY", "THIRTY", "FORTY", "FIFTY", "SIXTY", "SEVENTY", "EIGHTY", "NINETY")


def format_number(value: Decimal) -> str:
    """Return ``value`` [finite, >= 0] with leading zero, without trailing zeros, commas from 1,000 on.

    Raises ValueError for negative or not finite numbers. Source: ISMP list (R-58).
    """
    if not value.is_finite() or value < 0:
        raise ValueError("only finite numbers from zero up are written")
    whole, point, places = decimal_text(value).partition(".")
    return f"{int(whole):,}{point}{places}"


def format_mass(mass_mg: Decimal, micro_word: MicroWord, *, unit: MassUnit | None = None) -> str:
    """Return a mass [mg, > 0] as people read it: "2.5 mg", "1,200 mg", "125 micrograms".

    From 1 mg up it is written in mg; from 0.1 mg with at most two places in mg too ("0.5 mg"); below in
    micrograms, because a string of zeros after a point is the tenfold error waiting. ``unit`` fixes the
    unit where a product is known by it; ``micro_word`` is the jurisdiction's word. The two limits are the
    house's choice, common practice without source.
    """
    if not mass_mg.is_finite() or mass_mg <= 0:
        raise ValueError("only finite masses over zero are written")
    chosen = unit or ("mg" if _clear_in_mg(mass_mg) else "ug")
    if chosen == "mg":
        return f"{format_number(mass_mg)} mg"
    micrograms = mass_mg * _UG_PER_MG
    word = "microgram" if micro_word == "micrograms" and micrograms == 1 else micro_word
    return f"{format_number(micrograms)} {word}"


def number_in_words(count: int) -> str:
    """Return a count [1 to 99] in capital letters ("TWO", "TWENTY-ONE"); raises ValueError outside."""
    if not 1 <= count <= 99:
        raise ValueError("counts from 1 to 99 are written in words")
    if count < len(_ONES):
        return _ONES[count]
    tens, ones = divmod(count, 10)
    return _TENS[tens] if ones == 0 else f"{_TENS[tens]}-{_ONES[ones]}"


def format_count(count: int, strength: str, *, one: str, many: str) -> str:
    """Return how many of which strength, the count in words: "TWO 5 mg tablets".

    ``count`` [1 to 99]; ``strength`` as `format_mass` writes it; ``one`` and ``many`` are the site's form
    name. The words keep the count apart from the strength's figures ("2 5 mg" is read as 25 mg).
    """
    return f"{number_in_words(count)} {strength} {one if count == 1 else many}"


def _clear_in_mg(mass_mg: Decimal) -> bool:
    places = len(decimal_text(mass_mg).partition(".")[2])
    return mass_mg >= 1 or (mass_mg >= _CLEAR_MG and places <= _CLEAR_PLACES)
