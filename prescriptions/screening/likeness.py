"""Names that are taken for one another: by eye (few letters apart) or by ear (the same sound).

A rule of the house, no source: names of people and of substances in a few European spellings. It is meant to ask a
person to look twice, never to decide that two are one.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from typing import Final

_APART: Final = str.maketrans({"ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe", "ß": "ss"})
_SOUNDS: Final = (
    *(("sch", "s"), ("sh", "s"), ("ph", "f"), ("th", "t"), ("ck", "k"), ("ch", "k"), ("qu", "k"), ("tz", "s")),
    *(("dt", "t"), ("x", "ks"), ("c", "k"), ("q", "k"), ("z", "s"), ("v", "f"), ("w", "f"), ("j", "i"), ("y", "i")),
    *(("ai", "ei"), ("ae", "e"), ("oe", "o"), ("ue", "u"), ("ie", "i"), ("ee", "i"), ("ea", "i"), ("oo", "u")),
    *(("ou", "u"), ("ei", "i"), ("h", "")),
)
"""Spellings that sound alike, replaced from left to right in this order; judgement, no source."""

REMEMBERED: Final = 20_000
"""Names of a site that are worked out once: each order is compared with all patients under way [names]."""

ONE_LETTER_FROM: Final = 4
TWO_LETTERS_FROM: Final = 8
"""Shortest names that are alike although one or two letters differ [letters]; judgement, no source."""

SUBSTANCE_SHARE: Final = 4
"""Names of substances are alike where at most one letter in so many differs; judgement, no source."""


def folded(text: str) -> str:
    """Return a name so that letter case, width and spacing do not matter."""
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())


@lru_cache(REMEMBERED)
def letters_of(name: str) -> str:
    """Return the plain letters of a name: no accents, hyphens, blanks or capitals."""
    apart = unicodedata.normalize("NFKD", name.casefold().translate(_APART))
    return "".join(one for one in apart if one.isalpha() and not unicodedata.combining(one))


@lru_cache(REMEMBERED)
def sound_key(name: str) -> str:
    """Return what a name sounds like: equal for Meier, Mayer and Maier, or Smith, Smyth and Schmidt."""
    key = letters_of(name)
    for spelling, sound in _SOUNDS:
        key = key.replace(spelling, sound)
    key = re.sub(r"(.)\1+", r"\1", key)
    return key[:-1] if len(key) > 3 and key.endswith("e") else key


def edit_distance(one: str, other: str) -> int:
    """Return how many letters are put in, left out, changed or swapped with their neighbour between two texts.

    Optimal string alignment: Damerau, Commun ACM 1964;7:171-176, for the four slips; no letter is moved twice.
    """
    earlier: list[int] = []
    above = list(range(len(other) + 1))
    for row, left in enumerate(one, start=1):
        here = [row]
        for column, right in enumerate(other, start=1):
            cost = min(above[column] + 1, here[column - 1] + 1, above[column - 1] + (left != right))
            if row > 1 and column > 1 and left == other[column - 2] and one[row - 2] == right:
                cost = min(cost, earlier[column - 2] + 1)
            here.append(cost)
        earlier, above = above, here
    return above[-1]


def names_alike(one: str, other: str) -> bool:
    """Say whether two names of people look or sound alike (or are the same)."""
    left, right = letters_of(one), letters_of(other)
    if left == right:
        return True
    if not left or not right:
        return False
    shorter = min(len(left), len(right))
    most = 2 if shorter >= TWO_LETTERS_FROM else 1 if shorter >= ONE_LETTER_FROM else 0
    if abs(len(left) - len(right)) <= most and _at_most(left, right, most):
        return True
    return len(sound_key(one)) > 1 and sound_key(one) == sound_key(other)


def _at_most(left: str, right: str, most: int) -> bool:
    """Say whether two texts are at most so many letters apart; most pairs show by the letters they do not share."""
    return len(set(left) ^ set(right)) <= 2 * most and edit_distance(left, right) <= most


def substances_alike(one: str, other: str) -> bool:
    """Say whether the names of two different substances look or sound alike."""
    left, right = letters_of(one), letters_of(other)
    if not left or not right or left == right:
        return False
    longer = max(len(left), len(right))
    if abs(len(left) - len(right)) * SUBSTANCE_SHARE > longer:
        return False
    return edit_distance(left, right) * SUBSTANCE_SHARE <= longer or sound_key(one) == sound_key(other)
