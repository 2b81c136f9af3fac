"""The two embedded faces, found where the plotting library keeps them, and what they can write."""

from __future__ import annotations

import importlib.util
import unicodedata
from functools import lru_cache
from pathlib import Path
from typing import Any

from dosewright.ground.pure.errors import Refused, SetupMissing

REGULAR = "DejaVuSans"
BOLD = "DejaVuSans-Bold"

CAP_HEIGHT_EM = 0.729
"""Height of capitals of DejaVu Sans over its size (OS/2 table of the face: 1493 of 2048 units)."""

_UNSHAPED = {"R", "AL", "RLE", "RLO", "RLI", "LRE", "LRO", "LRI", "FSI", "PDF", "PDI"}
"""Bidirectional classes that need shaping or reordering, which this paper does not do."""


class NotPrintable(Refused):
    """The text holds a character that the embedded faces cannot write correctly."""

    slug = "not-printable"


@lru_cache(maxsize=1)
def ready() -> None:
    """Register both faces with the PDF library; raises SetupMissing when the font files are not there."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    for name in (REGULAR, BOLD):
        pdfmetrics.registerFont(TTFont(name, str(_folder() / f"{name}.ttf")))


def width_pt(text: str, font: str, size_pt: float) -> float:
    """Return the advance width of `text` [pt] in `font` at `size_pt` [pt]."""
    from reportlab.pdfbase import pdfmetrics

    ready()
    return float(pdfmetrics.stringWidth(text, font, size_pt))


def printable(text: str, *, field: str) -> str:
    """Return `text` composed (Unicode NFC); raises NotPrintable for what would print wrong or as a box."""
    composed = unicodedata.normalize("NFC", text)
    for character in composed:
        if not _can_write(character):
            name = unicodedata.name(character, f"U+{ord(character):04X}")
            raise NotPrintable.because(
                field,
                f"holds {name}, which the label face cannot write correctly",
                value=text[:80],
                accepted="Latin, Greek or Cyrillic letters, digits and signs",
                rule="no-glyph",
            )
    return composed


@lru_cache(maxsize=4096)
def _can_write(character: str) -> bool:
    if unicodedata.category(character) in {"Cc", "Cf", "Cs", "Co", "Mn", "Me", "Mc", "Zl", "Zp"}:
        return False
    if unicodedata.bidirectional(character) in _UNSHAPED:
        return False
    return all(ord(character) in _face(name).charToGlyph for name in (REGULAR, BOLD))


@lru_cache(maxsize=2)
def _face(name: str) -> Any:
    from reportlab.pdfbase import pdfmetrics

    ready()
    return pdfmetrics.getFont(name).face


def _folder() -> Path:
    # find_spec does not import the package, which would cost 1.7 s
    found = importlib.util.find_spec("matplotlib")
    folder = Path(found.origin).parent / "mpl-data" / "fonts" / "ttf" if found and found.origin else None
    if folder is None or not all((folder / f"{name}.ttf").is_file() for name in (REGULAR, BOLD)):
        raise SetupMissing.because(
            "fonts", "the DejaVu Sans files of matplotlib are not there", accepted="the packages of requirements.lock"
        )
    return folder
