"""Container labels on exact roll and sheet sizes: the patient first, the symbol last, nothing shrunk."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from io import BytesIO
from typing import TYPE_CHECKING

from dosewright.ground.paper.canvas import (
    BLACK,
    DRAFT,
    ORIGINAL,
    WHITE,
    check_state,
    draft_watermark,
    open_canvas,
    rule,
    text,
)
from dosewright.ground.paper.fit import LEADING, POINTS_PER_MM, fits, one_line, too_tall, wrap
from dosewright.ground.paper.fonts import BOLD, CAP_HEIGHT_EM, REGULAR, width_pt
from dosewright.ground.paper.symbol import Symbol, draw_modules, modules, side_pt, square_pt
from dosewright.ground.pure.errors import BadInput

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

ROLES = ("critical", "plain", "small")


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelSize:
    """A label stock with its least type sizes [pt]; the text area ends ``margin_mm`` from the edge."""

    name: str
    width_mm: float
    height_mm: float
    margin_mm: float
    critical_pt: float
    plain_pt: float
    small_pt: float

    def size_pt(self, role: str) -> float:
        """Return the type size [pt] of `role`: critical, plain or small."""
        if role not in ROLES:
            raise BadInput.because("role", "is no type size of a label", value=role, accepted=", ".join(ROLES))
        return float(getattr(self, f"{role}_pt"))


ROLL_100X60 = LabelSize(
    name="roll 100 x 60 mm", width_mm=100, height_mm=60, margin_mm=2, critical_pt=11, plain_pt=8, small_pt=7
)
"""Critical words at 11 points after USP <17> (read in a secondary source), nothing under 7 points after the
EU readability guideline of 2009 (from memory)."""

ROLL_100X80 = LabelSize(
    name="roll 100 x 80 mm", width_mm=100, height_mm=80, margin_mm=2, critical_pt=11, plain_pt=8, small_pt=7
)
"""For long names, long directions and many warnings."""

CELL_105X74 = LabelSize(
    name="sheet cell 105 x 74 mm", width_mm=105, height_mm=74, margin_mm=2.5, critical_pt=11, plain_pt=8, small_pt=7
)
"""The sheet stock that holds all particulars at the same type sizes as the roll."""

CELL_70X37 = LabelSize(
    name="sheet cell 70 x 37 mm", width_mm=70, height_mm=37, margin_mm=2, critical_pt=8, plain_pt=6, small_pt=5.5
)
"""For small containers and short wording only; its type sizes are judgement, no source. What does not fit is
refused and goes on a larger label."""

SIZES = {size.name: size for size in (ROLL_100X60, ROLL_100X80, CELL_105X74, CELL_70X37)}

SHEET_MM = (210.0, 297.0)
SHEETS = {CELL_105X74.name: (2, 4), CELL_70X37.name: (3, 8)}
"""Columns and rows of cells on A4, centred on the sheet."""

_GAP_PT = 1.8
_MOST_AIR_PT = 4.0
_DRAFT_MODULES = 30
"""A draft keeps the room of a 26 x 26 symbol, so that what fits as a draft fits as an original."""
_MARK_FRAC = 0.22


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelLine:
    """One paragraph; ``aside`` stands at the right of the same line where there is room, else on its own line."""

    field: str
    text: str
    role: str = "plain"
    bold: bool = False
    aside: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelPage:
    """A label as it is drawn: ``top`` over the full width, ``beside`` the symbol, ``foot`` beneath both."""

    title: str
    number: str
    state: str
    language: str
    top: tuple[LabelLine, ...]
    beside: tuple[LabelLine, ...]
    foot: tuple[LabelLine, ...]
    symbol: Symbol | None = None
    size: LabelSize = ROLL_100X60
    dpi: int = 203

    def __post_init__(self) -> None:
        check_state(self.state)
        if self.state == DRAFT and self.symbol is not None:
            raise BadInput.because("symbol", "a draft label carries no symbol")
        if self.state == ORIGINAL and self.symbol is None:
            raise BadInput.because("symbol", "an original label carries a symbol")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Strip:
    words: str
    bold: bool
    size_pt: float
    aside: str = ""
    aside_pt: float = 0.0
    opens: bool = False

    @property
    def height(self) -> float:
        return self.size_pt * LEADING


def render_label(page: LabelPage) -> bytes:
    """Return the PDF of one label, its page exactly the label's size.

    Raises DoesNotFit when any text does not fit, NotPrintable for characters the face lacks.
    """
    return render_labels((page,))


def render_labels(pages: Sequence[LabelPage]) -> bytes:
    """Return one PDF with a page per label; all are of one size and language."""
    first = _first_of(pages)
    buffer = BytesIO()
    canvas = open_canvas(
        buffer, width_mm=first.size.width_mm, height_mm=first.size.height_mm, title=first.title, language=first.language
    )
    height = first.size.height_mm * POINTS_PER_MM
    for page in pages:
        draw_label(canvas, page, left=0.0, top=height, page_height=height)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def render_label_sheet(pages: Sequence[LabelPage], *, first_cell: int = 0) -> bytes:
    """Return A4 sheets of label cells; `first_cell` (from 0, row by row) is the first one still on the sheet."""
    first = _first_of(pages)
    if first.size.name not in SHEETS:
        raise BadInput.because(
            "size", "is not the size of a sheet cell", value=first.size.name, accepted=", ".join(SHEETS)
        )
    columns, rows = SHEETS[first.size.name]
    cells = columns * rows
    if not 0 <= first_cell < cells:
        raise BadInput.because(
            "first_cell", "is no cell of the sheet", value=str(first_cell), accepted=f"0 to {cells - 1}"
        )
    buffer = BytesIO()
    canvas = open_canvas(
        buffer, width_mm=SHEET_MM[0], height_mm=SHEET_MM[1], title=first.title, language=first.language
    )
    for place, page in enumerate(pages, start=first_cell):
        if place > first_cell and place % cells == 0:
            canvas.showPage()
        _draw_cell(canvas, page, place % cells)
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def draw_label(canvas: Canvas, page: LabelPage, *, left: float, top: float, page_height: float) -> None:
    """Draw `page` with its upper left corner at (`left`, `top`) [pt] of a page `page_height` [pt] tall."""
    size = page.size
    margin = size.margin_mm * POINTS_PER_MM
    width = size.width_mm * POINTS_PER_MM - 2 * margin
    room = size.height_mm * POINTS_PER_MM - 2 * margin
    matrix = modules(page.symbol) if page.symbol else None
    side = side_pt(matrix, page.dpi) if matrix else square_pt(_DRAFT_MODULES, page.dpi)
    indent = side + 2 * _GAP_PT
    upper = _strips(page.top, size, width)
    beside = _strips(page.beside, size, width - indent)
    lower = _strips(page.foot, size, width)
    band = max(side, _height(beside))
    needed = _height(upper) + band + _height(lower) + 4 * _GAP_PT
    if needed > room:
        raise too_tall("label", needed, room, f"the text on {size.name}")
    x, y = left + margin, top - margin
    if page.state == DRAFT:
        draft_watermark(
            canvas,
            centre=(left + size.width_mm * POINTS_PER_MM / 2, y - room / 2),
            size_pt=size.critical_pt * 2,
            degrees=28,
        )
    _draw_strips(canvas, upper, x, y, width, air=_air(upper, room - needed))
    foot_top = y - room + _height(lower)
    band_top = foot_top + _GAP_PT + band
    rule(canvas, x, x + width, band_top + _GAP_PT, width_pt=0.7, shade=BLACK)
    if matrix:
        draw_modules(canvas, matrix, left=x, top=band_top - (band - side) / 2, dpi=page.dpi, page_height=page_height)
    else:
        _draw_mark(canvas, x, band_top - (band - side) / 2, side)
    _draw_strips(canvas, beside, x + indent, band_top - (band - _height(beside)) / 2, width - indent)
    _draw_strips(canvas, lower, x, foot_top, width)


def _first_of(pages: Sequence[LabelPage]) -> LabelPage:
    if not pages:
        raise BadInput.because("labels", "there is no label to draw")
    if len({(page.size, page.language) for page in pages}) > 1:
        raise BadInput.because("labels", "labels of one file share one size and one language")
    return pages[0]


def _draw_cell(canvas: Canvas, page: LabelPage, cell: int) -> None:
    width, height = page.size.width_mm, page.size.height_mm
    columns, rows = SHEETS[page.size.name]
    row, column = divmod(cell, columns)
    left = (SHEET_MM[0] - columns * width) / 2 + column * width
    top = SHEET_MM[1] - (SHEET_MM[1] - rows * height) / 2 - row * height
    draw_label(
        canvas, page, left=left * POINTS_PER_MM, top=top * POINTS_PER_MM, page_height=SHEET_MM[1] * POINTS_PER_MM
    )


def _strips(lines: Sequence[LabelLine], size: LabelSize, width: float) -> list[_Strip]:
    found: list[_Strip] = []
    for line in lines:
        size_pt = size.size_pt(line.role)
        font = BOLD if line.bold else REGULAR
        rows = wrap(line.text, font=font, size_pt=size_pt, width=width, field=line.field)
        found += [
            _Strip(words=row, bold=line.bold, size_pt=size_pt, opens=place == 0) for place, row in enumerate(rows)
        ]
        if line.aside:
            found[-1:] = _with_aside(found[-1], line, size, width)
    return found


def _with_aside(last: _Strip, line: LabelLine, size: LabelSize, width: float) -> list[_Strip]:
    aside = one_line(line.aside, font=REGULAR, size_pt=size.plain_pt, width=width, field=line.field)
    font = BOLD if last.bold else REGULAR
    free = width - width_pt(last.words, font, last.size_pt) - 3 * _GAP_PT
    if fits(aside, font=REGULAR, size_pt=size.plain_pt, width=free):
        return [replace(last, aside=aside, aside_pt=size.plain_pt)]
    return [last, _Strip(words=aside, bold=False, size_pt=size.plain_pt)]


def _height(strips: Sequence[_Strip]) -> float:
    return sum(strip.height for strip in strips)


def _air(strips: Sequence[_Strip], spare: float) -> float:
    openings = sum(strip.opens for strip in strips[1:])
    return min(spare / openings, _MOST_AIR_PT) if openings else 0.0


def _draw_strips(
    canvas: Canvas, strips: Sequence[_Strip], x: float, y: float, width: float, *, air: float = 0.0
) -> None:
    for place, strip in enumerate(strips):
        y -= air if strip.opens and place else 0.0
        baseline = y - (strip.height + CAP_HEIGHT_EM * strip.size_pt) / 2
        text(canvas, x, baseline, strip.words, bold=strip.bold, size_pt=strip.size_pt, shade=BLACK)
        if strip.aside:
            text(canvas, x + width, baseline, strip.aside, size_pt=strip.aside_pt, shade=BLACK, align="right")
        y -= strip.height


def _draw_mark(canvas: Canvas, x: float, top: float, side: float) -> None:
    canvas.setFillColorRGB(*BLACK)
    canvas.rect(x, top - side, side, side, stroke=0, fill=1)
    size_pt = side * _MARK_FRAC
    for place, words in enumerate(("DRAFT", "not", "valid")):
        baseline = top - side / 2 + (1 - place) * side * 0.27 - CAP_HEIGHT_EM * size_pt / 2
        text(canvas, x + side / 2, baseline, words, bold=True, size_pt=size_pt, shade=WHITE, align="centre")
