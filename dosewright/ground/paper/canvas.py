"""Opens the PDF page: exact size, fixed bytes, embedded faces only, title and language set."""

from __future__ import annotations

from io import BytesIO
from typing import TYPE_CHECKING

from dosewright.ground.paper.fit import POINTS_PER_MM
from dosewright.ground.paper.fonts import BOLD, REGULAR, ready
from dosewright.ground.pure.errors import BadInput

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

DRAFT = "draft"
ORIGINAL = "original"
DRAFT_MARK = "DRAFT - not valid"

Shade = tuple[float, float, float]
INK: Shade = (0.09, 0.10, 0.12)
BLACK: Shade = (0.0, 0.0, 0.0)
WHITE: Shade = (1.0, 1.0, 1.0)
QUIET: Shade = (0.36, 0.39, 0.43)
HAIRLINE: Shade = (0.78, 0.80, 0.83)
TINT: Shade = (0.955, 0.96, 0.965)
ACCENT: Shade = (0.11, 0.29, 0.35)
MARK: Shade = (0.89, 0.89, 0.90)


def open_canvas(buffer: BytesIO, *, width_mm: float, height_mm: float, title: str, language: str) -> Canvas:
    """Return a canvas on `buffer` with pages of exactly `width_mm` x `height_mm`.

    Dates and identifiers in the file are fixed, so that identical content gives identical bytes.
    """
    from reportlab.pdfgen.canvas import Canvas

    ready()
    canvas = Canvas(
        buffer,
        pagesize=(width_mm * POINTS_PER_MM, height_mm * POINTS_PER_MM),
        invariant=1,
        pageCompression=1,
        initialFontName=REGULAR,
        lang=language,
    )
    canvas.setTitle(title)
    canvas.setAuthor("Dosewright")
    canvas.setCreator("Dosewright")
    canvas.setSubject(title)
    canvas.setViewerPreference("DisplayDocTitle", "true")
    return canvas


def check_state(state: str) -> None:
    """Raise BadInput unless `state` is draft or original."""
    if state not in {DRAFT, ORIGINAL}:
        raise BadInput.because("state", "is no state of a document", value=state, accepted="draft or original")


def text(
    canvas: Canvas,
    x: float,
    y: float,
    words: str,
    *,
    bold: bool = False,
    size_pt: float,
    shade: Shade = INK,
    align: str = "left",
) -> None:
    """Write `words` on the baseline `y`; `align` is left, right or centre of `x` [pt]."""
    canvas.setFont(BOLD if bold else REGULAR, size_pt)
    canvas.setFillColorRGB(*shade)
    draw = {"left": canvas.drawString, "right": canvas.drawRightString, "centre": canvas.drawCentredString}[align]
    draw(x, y, words)


def rule(
    canvas: Canvas, left: float, right: float, y: float, *, width_pt: float = 0.5, shade: Shade = HAIRLINE
) -> None:
    """Draw a horizontal line from `left` to `right` at `y` [pt]."""
    canvas.setLineWidth(width_pt)
    canvas.setStrokeColorRGB(*shade)
    canvas.line(left, y, right, y)


def draft_watermark(canvas: Canvas, *, centre: tuple[float, float], size_pt: float, degrees: float) -> None:
    """Lay the draft mark aslant over `centre` [pt], beneath whatever is drawn later."""
    canvas.saveState()
    canvas.translate(*centre)
    canvas.rotate(degrees)
    text(canvas, 0, -size_pt / 3, DRAFT_MARK, bold=True, size_pt=size_pt, shade=MARK, align="centre")
    canvas.restoreState()
