"""DataMatrix symbols as vector rectangles on whole printer dots, with their quiet zone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from dosewright.ground.paper.canvas import BLACK
from dosewright.ground.paper.fit import POINTS_PER_MM
from dosewright.ground.pure.errors import BadInput, Refusal
from dosewright.ground.pure.gs1 import element_string

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

Matrix = tuple[tuple[bool, ...], ...]

LEAST_MODULE_MM = 0.254
TARGET_MODULE_MM = 0.380
MOST_MODULE_MM = 0.495
"""X-dimension of GS1 DataMatrix on regulated healthcare items, not for general distribution
(GS1 General Specifications, table 5.5.2.7.6-1; R-55)."""

PRINTER_DPI = (203, 300, 600)

QUIET_MODULES = 2
"""Quiet zone kept on each side; 1 is asked (GS1 General Specifications, same table), 1 more is ours."""

MM_PER_INCH = 25.4
_ROUNDING_MM = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Symbol:
    """What a symbol says: ``elements`` of GS1, or the internal code ``plain``; exactly one of them."""

    elements: tuple[tuple[str, str], ...] = ()
    plain: str = ""

    def __post_init__(self) -> None:
        if bool(self.elements) == bool(self.plain):
            raise BadInput.because("symbol", "holds either GS1 elements or one internal code")


def gs1_symbol(elements: Sequence[tuple[str, str]]) -> Symbol:
    """Return the GS1 symbol of `elements`; raises BadInput when the standard forbids them."""
    element_string(elements)
    if any(bracket in value for _, value in elements for bracket in "()"):
        raise BadInput.because("symbol", "the symbol writer cannot take brackets inside a value", accepted="no ( or )")
    return Symbol(elements=tuple((ai, value) for ai, value in elements))


def plain_symbol(code: str) -> Symbol:
    """Return the symbol of an internal code, for a site without a GS1 company prefix."""
    if not code or not code.isascii() or not code.isprintable():
        raise BadInput.because("symbol", "an internal code is printable ASCII", value=code[:40])
    return Symbol(plain=code)


def human_readable(symbol: Symbol) -> str:
    """Return what stands beside the symbol for people: bracketed elements, or the code."""
    return element_string(symbol.elements).human_readable if symbol.elements else symbol.plain


def module_dots(dpi: int) -> int:
    """Return how many printer dots one module takes: the lawful number nearest the target X-dimension.

    Parameters: dpi, 203, 300 or 600. Raises BadInput for another resolution.
    """
    if dpi not in PRINTER_DPI:
        raise BadInput(
            Refusal(
                field="dpi",
                value=str(dpi),
                message="is no resolution labels are drawn for",
                accepted=", ".join(map(str, PRINTER_DPI)),
                unit="dpi",
                rule="dpi",
            )
        )
    lawful = [dots for dots in range(1, 40) if _is_lawful(dots * MM_PER_INCH / dpi)]
    return min(lawful, key=lambda dots: abs(dots * MM_PER_INCH / dpi - TARGET_MODULE_MM))


def module_mm(*, dpi: int, dots: int) -> float:
    """Return the X-dimension [mm] of `dots` printer dots at `dpi`; raises BadInput outside 0.254 to 0.495 mm."""
    size = dots * MM_PER_INCH / dpi
    if not _is_lawful(size):
        raise BadInput(
            Refusal(
                field="module",
                value=f"{size:.3f}",
                unit="mm",
                message="is no lawful X-dimension",
                limit=f"{LEAST_MODULE_MM} to {MOST_MODULE_MM}",
                rule="x-dimension",
            )
        )
    return size


@lru_cache(maxsize=256)
def modules(symbol: Symbol) -> Matrix:
    """Return the module matrix of `symbol`, top row first, True where dark, read back before it is trusted.

    Raises BadInput when the reader does not find exactly what was to be written.
    """
    import numpy as np
    import zxingcpp

    shown = human_readable(symbol)
    kind = {"gs1": True} if symbol.elements else {}
    made = zxingcpp.create_barcode(shown, zxingcpp.BarcodeFormat.DataMatrix, force_square=True, **kind)
    picture = np.asarray(made.to_image(scale=1, add_quiet_zones=False))
    dark = picture < 128
    _read_back(np.pad(picture, 4, constant_values=255).repeat(4, axis=0).repeat(4, axis=1), symbol, shown)
    return tuple(tuple(bool(one) for one in row) for row in dark)


def side_modules(matrix: Matrix) -> int:
    """Return the modules along one side, quiet zones included."""
    return len(matrix) + 2 * QUIET_MODULES


def draw_modules(canvas: Canvas, matrix: Matrix, *, left: float, top: float, dpi: int, page_height: float) -> float:
    """Draw `matrix` with its quiet zone, upper left corner near (`left`, `top`) [pt], and return its side [pt].

    The corner is moved to the next printer dot counted from the upper left corner of the page, so that every
    edge falls on a dot.
    """
    dot = MM_PER_INCH / dpi * POINTS_PER_MM
    step = dot * module_dots(dpi)
    from_left = round(left / dot) * dot + QUIET_MODULES * step
    from_top = round((page_height - top) / dot) * dot + QUIET_MODULES * step
    path = canvas.beginPath()
    for row, cells in enumerate(matrix):
        for start, length in _runs(cells):
            path.rect(from_left + start * step, page_height - from_top - (row + 1) * step, length * step, step)
    canvas.setFillColorRGB(*BLACK)
    canvas.drawPath(path, stroke=0, fill=1)
    return side_modules(matrix) * step


def side_pt(matrix: Matrix, dpi: int) -> float:
    """Return the side [pt] of `matrix` with its quiet zones at `dpi`."""
    return square_pt(side_modules(matrix), dpi)


def square_pt(count: int, dpi: int) -> float:
    """Return the side [pt] of a square of `count` modules at `dpi`."""
    return count * module_dots(dpi) * MM_PER_INCH / dpi * POINTS_PER_MM


def _is_lawful(size_mm: float) -> bool:
    return LEAST_MODULE_MM - _ROUNDING_MM <= size_mm <= MOST_MODULE_MM + _ROUNDING_MM


def _runs(cells: tuple[bool, ...]) -> list[tuple[int, int]]:
    found: list[tuple[int, int]] = []
    for place, dark in enumerate(cells):
        if not dark:
            continue
        if found and sum(found[-1]) == place:
            found[-1] = (found[-1][0], found[-1][1] + 1)
        else:
            found.append((place, 1))
    return found


def _read_back(picture: object, symbol: Symbol, shown: str) -> None:
    import zxingcpp

    read = zxingcpp.read_barcode(picture)
    wanted = (element_string(symbol.elements).data, "]d2") if symbol.elements else (shown, "]d1")
    found = (read.bytes.decode("ascii"), read.symbology_identifier) if read else None
    if found != wanted:
        raise BadInput.because("symbol", "does not read back as it was written", value=str(found), accepted=str(wanted))
