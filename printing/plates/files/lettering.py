"""The letters that rafts carry: outlines of the code alphabet from DejaVu Sans, which comes with matplotlib."""

from __future__ import annotations

from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from dosewright.ground.pure.codes import ALPHABET
from dosewright.ground.pure.errors import SetupMissing
from printing.core.layout.rafts import Outlines

FACE = "DejaVuSans.ttf"
CURVE_STEPS = 4


def font_path() -> Path:
    """Return where the face lies, without importing matplotlib; raises SetupMissing if it is not there."""
    spec = find_spec("matplotlib")
    for folder in (spec.submodule_search_locations or ()) if spec else ():
        path = Path(folder) / "mpl-data" / "fonts" / "ttf" / FACE
        if path.is_file():
            return path
    raise SetupMissing.because("font", f"{FACE} is not among matplotlib's fonts", accepted="matplotlib with its data")


@lru_cache(maxsize=1)
def code_outlines() -> Outlines:
    """Return the outlines of every character that a raised code can hold."""
    import freetype

    face = freetype.Face(str(font_path()))
    flags = freetype.FT_LOAD_NO_SCALE | freetype.FT_LOAD_NO_HINTING
    glyphs, advances = {}, {}
    for character in ALPHABET:
        face.load_char(character, flags)
        glyphs[character] = _contours(face.glyph.outline)
        advances[character] = int(face.glyph.advance.x)
    return Outlines(glyphs=glyphs, advances=advances)


def _contours(outline: Any) -> tuple[tuple[tuple[float, float], ...], ...]:
    found: list[tuple[tuple[float, float], ...]] = []
    start = 0
    for end in outline.contours:
        places = range(start, end + 1)
        on_curve = [bool(outline.tags[k] & 1) for k in places]
        found.append(_flattened([outline.points[k] for k in places], on_curve))
        start = end + 1
    return tuple(found)


def _flattened(points: list[tuple[int, int]], on_curve: list[bool]) -> tuple[tuple[float, float], ...]:
    """Replace the quadratic curves of a TrueType contour by chords (two off-curve points imply one between)."""
    full: list[tuple[float, float, bool]] = []
    for k, point in enumerate(points):
        x, y = float(point[0]), float(point[1])
        before = points[k - 1]
        if not on_curve[k] and not on_curve[k - 1]:
            full.append(((before[0] + x) / 2, (before[1] + y) / 2, True))
        full.append((x, y, on_curve[k]))
    first = next(k for k, point in enumerate(full) if point[2])
    full = full[first:] + full[:first]
    line: list[tuple[float, float]] = []
    for k, (x, y, on) in enumerate(full):
        if on:
            line.append((float(x), float(y)))
        else:
            line += _curve(full[k - 1], (x, y), full[(k + 1) % len(full)])
    return tuple(line)


def _curve(
    start: tuple[float, float, bool], bend: tuple[float, float], end: tuple[float, float, bool]
) -> list[tuple[float, float]]:
    chords = []
    for step in range(1, CURVE_STEPS):
        t = step / CURVE_STEPS
        a, b, c = (1 - t) * (1 - t), 2 * t * (1 - t), t * t
        chords.append((a * start[0] + b * bend[0] + c * end[0], a * start[1] + b * bend[1] + c * end[1]))
    return chords
