"""Text into a width: wrapped at blanks, or refused. Nothing is cut and no type is made smaller."""

from __future__ import annotations

import re

from dosewright.ground.paper.fonts import printable, width_pt
from dosewright.ground.pure.errors import Refused

POINTS_PER_MM = 72 / 25.4
"""A PDF point is 1/72 inch (ISO 32000-1, 8.3.2.3)."""

LEADING = 1.17
"""Line pitch over type size: ascent plus descent of DejaVu Sans (hhea table of the face: 1.164)."""

_GLUE = re.compile(r"(?<=\d) (?=[^\W\d_])|(?<=[^\W\d_]) (?=\d{4}\b)")
"""Blanks that a line may not break at: "3 mg", "28 tablets", "4 March 2026"."""


class DoesNotFit(Refused):
    """The text is wider or taller than the place it was given."""

    slug = "does-not-fit"


def wrap(text: str, *, font: str, size_pt: float, width: float, field: str) -> tuple[str, ...]:
    """Return the lines of `text` for a column of `width` [pt].

    A number stays on one line with its unit where the column allows. Raises DoesNotFit when one word is wider
    than the column, NotPrintable when the face cannot write a character.
    """
    tidy = printable(text, field=field)
    lines: list[str] = []
    for word in _words(tidy, font, size_pt, width):
        joined = f"{lines[-1]} {word}" if lines else word
        if lines and width_pt(joined, font, size_pt) <= width:
            lines[-1] = joined
        elif width_pt(word, font, size_pt) <= width:
            lines.append(word)
        else:
            raise _too_wide(word, font, size_pt, width, field)
    return tuple(lines)


def one_line(text: str, *, font: str, size_pt: float, width: float, field: str) -> str:
    """Return `text` when it fits one line of `width` [pt]; raises DoesNotFit or NotPrintable."""
    tidy = printable(text, field=field)
    if width_pt(tidy, font, size_pt) > width:
        raise _too_wide(tidy, font, size_pt, width, field)
    return tidy


def fits(text: str, *, font: str, size_pt: float, width: float) -> bool:
    """Return whether `text` is at most `width` [pt] wide."""
    return width_pt(text, font, size_pt) <= width


def too_tall(field: str, needed_pt: float, room_pt: float, what: str) -> DoesNotFit:
    """Return the refusal for content taller than its place, both told in mm."""
    return DoesNotFit(
        *DoesNotFit.because(
            field,
            f"{what} needs {needed_pt / POINTS_PER_MM:.1f} mm of height and has {room_pt / POINTS_PER_MM:.1f} mm",
            value=f"{needed_pt / POINTS_PER_MM:.1f}",
            limit=f"{room_pt / POINTS_PER_MM:.1f}",
            unit="mm",
            accepted="a larger label or shorter wording",
            rule="does-not-fit",
        ).refusals
    )


def grouped(text: str, size: int = 16) -> str:
    """Return a long code (a digest) in groups of `size` characters, so that lines can break between them."""
    return " ".join(text[place : place + size] for place in range(0, len(text), size))


def _words(text: str, font: str, size_pt: float, width: float) -> list[str]:
    glued = _GLUE.sub("\u00a0", text)
    words: list[str] = []
    for word in glued.split(" "):
        loose = word.replace("\u00a0", " ")
        words += [loose] if width_pt(loose, font, size_pt) <= width else loose.split(" ")
    return [word for word in words if word]


def _too_wide(word: str, font: str, size_pt: float, width: float, field: str) -> DoesNotFit:
    needed = width_pt(word, font, size_pt) / POINTS_PER_MM
    return DoesNotFit(
        *DoesNotFit.because(
            field,
            f'"{word[:60]}" needs {needed:.1f} mm of width and has {width / POINTS_PER_MM:.1f} mm',
            value=f"{needed:.1f}",
            limit=f"{width / POINTS_PER_MM:.1f}",
            unit="mm",
            accepted="a larger label or shorter wording",
            rule="does-not-fit",
        ).refusals
    )
